// Package plots draws the pictures of the season: Pressure (one pest over the
// season, bed by bed), Overview (all pests and beds in small multiples),
// FieldMap (the beds in place, shaded by the chance of being over the action
// level), CoverMap (the beds in place, filled by what is sown in them),
// BloomCalendar (sowing and bloom of companion plants against the weeks in
// which nectar is needed), Fan (what could come of a pest, and of each thing
// that could be done), Worked (before and after a step, against untreated
// beds), DegreeDays (the warmth of a season and a pest's stages) and SamplePlan
// (stop lines and their risks). They are written as PNG, SVG or PDF.
//
// A figure is a plain struct of numbers that somebody else computed: nothing
// here estimates, judges, reads a file or asks the clock. The same struct
// gives the same bytes, in PDF too. Everything that is drawn is also said in
// words by Alt.
//
// How things look (sizes, colours, fonts) is decided in style.go alone.
//
// Not here: interactive pictures, several measures
// on one axis. Characters that the bundled font does not have (and, in PDF,
// characters outside Windows code page 1252) are shown as "?", never dropped.
package plots

import (
	"bytes"
	"errors"
	"fmt"
	"html"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgpdf"
	"gonum.org/v1/plot/vg/vgsvg"

	"leafturn/internal/pattern"
)

// Errors that a figure or a path can be refused with; test with errors.Is.
var (
	// ErrNoData: the figure holds nothing to draw, so a picture would be empty.
	ErrNoData = errors.New("nothing has been counted, so there is nothing to draw")
	// ErrValue: a number, date or name in the figure cannot be drawn.
	ErrValue = errors.New("cannot be drawn")
	// ErrFormat: the file name does not end in .png, .svg or .pdf.
	ErrFormat = errors.New("unknown picture format")
	// ErrTooMany: more panels than one page holds; draw the figure's Pages.
	ErrTooMany = errors.New("too many panels for one page")
)

// Formats lists the formats that Write knows.
var Formats = []string{"png", "svg", "pdf"}

// Figure is a picture that can be drawn.
type Figure interface {
	// Size returns the width and height in points (1/72 inch). It means
	// something only when Check returns nil.
	Size() (width, height float64)
	// Alt returns what the picture shows, in sentences, with its finding.
	Alt() string
	// Check returns why the figure cannot be drawn, or nil. Errors wrap
	// ErrNoData, ErrValue or ErrTooMany.
	Check() error
	// Draw draws on a canvas of the figure's Size. It draws nothing when
	// Check fails, and returns that error.
	Draw(c vg.Canvas) error
}

// DPI is the resolution of PNG pictures in dots per inch.
const DPI = 144

// Write writes the figure in a format ("png", "svg" or "pdf", any case).
// Nothing is written to w unless the whole picture could be drawn. SVG holds
// Alt as its title and description. Errors: those of Check, ErrFormat, and
// those of w.
func Write(fig Figure, w io.Writer, format string) error {
	b, err := encode(fig, format)
	if err != nil {
		return err
	}
	_, err = w.Write(b)
	return err
}

// Save writes the figure to a file, the format chosen by the extension. The
// file is written beside path under another name, synced and renamed, so path
// holds the old picture or the whole new one, never a part. Errors: as Write,
// and those of the file system.
func Save(fig Figure, path string) error {
	ext := strings.TrimPrefix(filepath.Ext(path), ".")
	b, err := encode(fig, ext)
	if err != nil {
		return fmt.Errorf("picture %s: %w", path, err)
	}
	if err := replaceFile(path, b); err != nil {
		return fmt.Errorf("picture %s: %w", path, err)
	}
	return nil
}

func encode(fig Figure, format string) ([]byte, error) {
	format = strings.ToLower(format)
	if err := fig.Check(); err != nil {
		return nil, err
	}
	fw, fh := fig.Size()
	w, h := vg.Length(fw), vg.Length(fh)
	var out bytes.Buffer
	switch format {
	case "png":
		c := vgimg.NewWith(vgimg.UseWH(w, h), vgimg.UseDPI(DPI))
		if err := fig.Draw(c); err != nil {
			return nil, err
		}
		enc := png.Encoder{CompressionLevel: png.BestSpeed}
		err := enc.Encode(&out, c.Image())
		return out.Bytes(), err
	case "svg":
		c := vgsvg.New(w, h)
		if err := fig.Draw(c); err != nil {
			return nil, err
		}
		_, err := c.WriteTo(&out)
		return finishSVG(out.Bytes(), fig.Alt()), err
	case "pdf":
		c := vgpdf.New(w, h)
		if err := fig.Draw(c); err != nil {
			return nil, err
		}
		_, err := c.WriteTo(&out)
		return pdfDate().ReplaceAll(out.Bytes(), []byte("${1}20000101000000")), err
	}
	if format == "" {
		format = "no extension"
	}
	return nil, fmt.Errorf("%w (%s); use .png, .svg or .pdf", ErrFormat, format)
}

// pdfDate finds the writing time that the PDF library stamps. A fixed time of
// the same length keeps the offsets of the file right and its bytes the same.
var pdfDate = pattern.New(`(/(?:CreationDate|ModDate) \(D:)\d{14}`)

// finishSVG gives the picture a role and its words for screen readers, and
// names fonts of the same widths to use where Liberation Sans is missing.
func finishSVG(b []byte, alt string) []byte {
	b = bytes.ReplaceAll(b, []byte("font-family:Liberation Sans;font-variant:normal;"),
		[]byte("font-family:'Liberation Sans',Arimo,Arial,Helvetica,sans-serif;"))
	b = bytes.ReplaceAll(b, []byte("font-weight:normal;font-style:normal;"), nil)
	b = bytes.ReplaceAll(b, []byte("font-weight:bold;font-style:normal;"), []byte("font-weight:bold;"))
	first, _, _ := strings.Cut(alt, ". ")
	head := "xmlns:xlink=\"http://www.w3.org/1999/xlink\" role=\"img\">\n" +
		"<title>" + html.EscapeString(strings.TrimSuffix(first, ".")) + "</title>\n" +
		"<desc>" + html.EscapeString(alt) + "</desc>\n"
	return bytes.Replace(b, []byte("xmlns:xlink=\"http://www.w3.org/1999/xlink\">\n"), []byte(head), 1)
}

// replaceFile puts b in place of path: temporary name beside it, write, sync,
// close, rename, sync the directory. The temporary file is removed on failure.
func replaceFile(path string, b []byte) (err error) {
	mode, folder := os.FileMode(0o644), false
	if st, e := os.Stat(path); e == nil {
		mode, folder = st.Mode().Perm(), st.IsDir()
	}
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, "."+filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if _, err = f.Write(b); err != nil {
		return err
	}
	if err = f.Chmod(mode); err != nil {
		return err
	}
	if err = f.Sync(); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	if err = os.Rename(f.Name(), path); err != nil {
		if folder {
			err = fmt.Errorf("is a folder; give a file name (%w)", err)
		}
		return err
	}
	if d, e := os.Open(dir); e == nil {
		// Some systems cannot sync a folder; the picture is in place anyway.
		_ = d.Sync()
		d.Close()
	}
	return nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
