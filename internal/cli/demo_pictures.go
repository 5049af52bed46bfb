package cli

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"leafturn/internal/demo"
	"leafturn/internal/diag"
)

// pictureKinds are the kinds of file that each picture is drawn as.
var pictureKinds = []string{"svg", "png", "pdf"}

// drawPictures draws every kind of picture of the demo's season through the
// commands that a person would type, and a page that shows them.
func drawPictures(ctx context.Context, d *deps, db, folder string) error {
	s := d.Streams
	s.Now = func() time.Time { return demo.Now }
	s.Color = false
	var all []demo.Drawn
	pages := 0
	for _, p := range demo.Pictures {
		words, err := demo.Split(p.Command)
		if err != nil {
			return fmt.Errorf("the picture %s: %w", p.Name, err)
		}
		for _, kind := range pictureKinds {
			if err := ctx.Err(); err != nil {
				return err
			}
			var out, errs bytes.Buffer
			s.Out, s.Err = &out, &errs
			args := append([]string{"leafturn", "--db", db}, words...)
			if err := run(ctx, append(args, filepath.Join(folder, p.Name+"."+kind)), s); err != nil {
				return fmt.Errorf("the picture %s: %w", p.Name, err)
			}
		}
		drawn, err := p.Find(folder)
		if err != nil {
			return err
		}
		all, pages = append(all, drawn), pages+len(drawn.Pages)
	}
	var page bytes.Buffer
	if err := demo.WriteIndex(&page, all); err != nil {
		return err
	}
	index := filepath.Join(folder, "index.html")
	if err := os.WriteFile(index, page.Bytes(), 0o644); err != nil {
		return diag.Failf(err, "check that the folder may be written", "the page of the pictures cannot be written: %v", cause(err))
	}
	d.say("\n%d pictures of %d kinds; open %s", pages, len(all), index)
	return nil
}
