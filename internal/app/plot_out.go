package app

import (
	"errors"
	"fmt"
	"strings"

	"leafturn/internal/diag"
	"leafturn/internal/report"
	"leafturn/plots"
)

// checkDraw refuses a file that is no picture before anything is computed.
func checkDraw(file string) error {
	if file != "" && !pictureFile(file) {
		return diag.Usagef("end it with .png, .svg or .pdf", "--draw %q does not say what kind of picture", file)
	}
	return nil
}

// drawInto draws figures to a file and names them in the document.
func drawInto(doc *report.Document, title string, figs []plots.Figure, file string) error {
	for _, f := range figs {
		if err := f.Check(); errors.Is(err, plots.ErrValue) {
			return diag.Failf(err, "ask for fewer days, such as with a later start", "the picture cannot be drawn: %v", err)
		}
	}
	said, err := saveFigures(figs, file)
	if err != nil {
		return err
	}
	sec := report.Section{Key: "picture", Title: "Picture"}
	for n := 0; n+1 < len(said); n += 2 { // the file, then what it shows
		sec.Figures = append(sec.Figures, report.Figure{
			Key: fmt.Sprintf("picture-%d", n/2+1), Title: title, Alt: said[n+1], File: strings.TrimPrefix(said[n], "drawn: "),
		})
	}
	doc.Sections = append(doc.Sections, sec)
	return nil
}
