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

// drawPictures draws every kind of picture of the demo's season, and every
// sheet, through the commands that a person would type, and a page that shows
// them.
func drawPictures(ctx context.Context, d *deps, db, folder string) error {
	withYears, err := earlierYears(ctx, d, db)
	if err != nil {
		return err
	}
	defer os.RemoveAll(filepath.Dir(withYears))
	var all []demo.Drawn
	pages := 0
	for _, p := range demo.Pictures {
		from := db
		if p.Earlier {
			from = withYears
		}
		for _, kind := range pictureKinds {
			if err := demoFile(ctx, d, from, p.Command, filepath.Join(folder, p.Name+"."+kind)); err != nil {
				return fmt.Errorf("the picture %s: %w", p.Name, err)
			}
		}
		drawn, err := p.Find(folder)
		if err != nil {
			return err
		}
		all, pages = append(all, drawn), pages+len(drawn.Pages)
	}
	for _, s := range demo.Sheets {
		if err := demoFile(ctx, d, db, s.Command, filepath.Join(folder, s.File)); err != nil {
			return fmt.Errorf("the sheet %s: %w", s.File, err)
		}
	}
	var page bytes.Buffer
	if err := demo.WriteIndex(&page, all); err != nil {
		return err
	}
	index := filepath.Join(folder, "index.html")
	if err := os.WriteFile(index, page.Bytes(), 0o644); err != nil {
		return diag.Failf(err, "check that the folder may be written", "the page of the pictures cannot be written: %v", cause(err))
	}
	d.say("\n%d pictures of %d kinds and %d sheets; open %s", pages, len(all), len(demo.Sheets), index)
	return nil
}

// demoFile runs a command of the demo that writes a file, its last word.
func demoFile(ctx context.Context, d *deps, db, command, file string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	words, err := demo.Split(command)
	if err != nil {
		return err
	}
	var out, errs bytes.Buffer
	s := d.Streams
	s.Now = func() time.Time { return demo.Now }
	s.Color, s.Out, s.Err = false, &out, &errs
	args := append([]string{"leafturn", "--db", db}, words...)
	return run(ctx, append(args, file), s)
}

// earlierYears copies the demo's farm into a folder of its own and enters the
// counts of earlier years there, so that the demo itself stays one season.
func earlierYears(ctx context.Context, d *deps, db string) (string, error) {
	dir, err := os.MkdirTemp("", "leafturn-demo-years-")
	if err != nil {
		return "", diag.Failf(err, "check that the temporary folder may be written", "no folder for the demo's earlier years: %v", err)
	}
	file := filepath.Join(dir, "farm.leafturn")
	err = demo.WriteEarlier(dir)
	if err == nil {
		err = demoFile(ctx, d, db, "backup", file)
	}
	for _, name := range demo.EarlierYears {
		if err == nil {
			err = demoFile(ctx, d, file, "count --file", filepath.Join(dir, name))
		}
	}
	if err != nil {
		os.RemoveAll(dir)
		return "", fmt.Errorf("the demo's earlier years: %w", err)
	}
	return file, nil
}
