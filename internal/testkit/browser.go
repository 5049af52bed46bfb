package testkit

import (
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"html"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Seen is what a browser made of a page.
type Seen struct {
	Faults   []string // contrast under WCAG AA, pictures that did not load, text cut off, names missing
	Texts    int      // pieces of text that were looked at
	Pictures int
	Tables   int
	Loaded   []string // what was asked for besides the page
	Width    int      // of the window
	Wide     int      // of the page: more than Width must be scrolled sideways
}

//go:embed browser.js
var inspector string

// Browser opens a page in a real headless Chromium with a window of so many
// points and returns what it sees. The test is skipped where there is none.
func Browser(t *testing.T, page []byte, width int) Seen {
	t.Helper()
	body, ok := strings.CutSuffix(strings.TrimSpace(string(page)), "</html>")
	if !ok {
		t.Fatal("the page has no end")
	}
	out := chromium(t, body+"<script>"+inspector+"</script></html>", "--dump-dom", fmt.Sprintf("--window-size=%d,900", width))
	_, rest, ok := strings.Cut(out, `data-seen="`)
	if !ok {
		t.Fatalf("the page was not inspected: %.2000s", out)
	}
	text, _, _ := strings.Cut(rest, `"`)
	var s Seen
	if err := json.Unmarshal([]byte(html.UnescapeString(text)), &s); err != nil {
		t.Fatal(err)
	}
	return s
}

// BrowserPrint prints a page to PDF as a browser does.
func BrowserPrint(t *testing.T, page []byte) []byte {
	t.Helper()
	pdf := filepath.Join(t.TempDir(), "page.pdf")
	chromium(t, string(page), "--no-pdf-header-footer", "--print-to-pdf="+pdf)
	raw, err := os.ReadFile(pdf)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

func chromium(t *testing.T, page string, flags ...string) string {
	t.Helper()
	program := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			program = p
			break
		}
	}
	if program == "" {
		t.Skip("there is no Chromium to open the page in: apt install chromium")
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "page.html")
	if err := os.WriteFile(file, []byte(page), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	args := append([]string{"--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--user-data-dir=" + filepath.Join(dir, "profile"),
		"--virtual-time-budget=10000", "--host-resolver-rules=MAP * ~NOTFOUND"}, flags...)
	cmd := exec.CommandContext(ctx, program, append(args, "file://"+file)...)
	var errs strings.Builder
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", program, err, errs.String())
	}
	return string(out)
}
