package testkit

import (
	"bytes"
	"compress/zlib"
	"io"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/require"

	"leafturn/internal/pattern"
)

// PDFPage is what a page of a PDF of ours says, as a reader would find it.
type PDFPage struct {
	High  float64
	Runs  []PDFRun
	Boxes [][4]float64 // x, y of the upper left, width, height
}

// PDFRun is one line of text with its baseline, from the upper left.
type PDFRun struct {
	Font       string
	Size, X, Y float64
	Text       string
}

var (
	stream   = pattern.New(`/Length (\d+)>>\r?\nstream\r?\n`)
	mediaBox = pattern.New(`/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]`)
	operator = pattern.New(`(?s)BT /F(\w+) ([\d.]+) Tf ET|BT ([-\d.]+) ([-\d.]+) Td \(((?:\\.|[^\\)])*)\) Tj ET|([-\d.]+) ([-\d.]+) ([-\d.]+) ([-\d.]+) re`)
)

// ReadPDF takes a PDF of ours apart.
func ReadPDF(t *testing.T, pdf []byte) []PDFPage {
	t.Helper()
	m := mediaBox().FindSubmatch(pdf)
	require.NotNil(t, m)
	high := pdfNumber(string(m[2]))
	var pages []PDFPage
	for _, s := range stream().FindAllSubmatchIndex(pdf, -1) {
		z, err := zlib.NewReader(bytes.NewReader(pdf[s[1] : s[1]+int(pdfNumber(string(pdf[s[2]:s[3]])))]))
		if err != nil {
			continue
		}
		raw, err := io.ReadAll(z)
		require.NoError(t, err)
		if !bytes.Contains(raw, []byte(") Tj ET")) {
			continue
		}
		p := PDFPage{High: high}
		font, size := "", 0.0
		for _, op := range operator().FindAllStringSubmatch(string(raw), -1) {
			switch {
			case op[1] != "":
				font, size = op[1], pdfNumber(op[2])
			case op[6] != "":
				h := -pdfNumber(op[9])
				p.Boxes = append(p.Boxes, [4]float64{pdfNumber(op[6]), high - pdfNumber(op[7]), pdfNumber(op[8]), h})
			default:
				p.Runs = append(p.Runs, PDFRun{font, size, pdfNumber(op[3]), high - pdfNumber(op[4]), pdfString(op[5])})
			}
		}
		pages = append(pages, p)
	}
	return pages
}

func pdfNumber(s string) float64 { v, _ := strconv.ParseFloat(s, 64); return v }

// pdfString reads a PDF string of UTF-16.
func pdfString(s string) string {
	var b []byte
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+1 < len(s) {
			i++
			switch s[i] {
			case 'r':
				b = append(b, '\r')
				continue
			case 'n':
				b = append(b, '\n')
				continue
			}
		}
		b = append(b, s[i])
	}
	var u []uint16
	for i := 0; i+1 < len(b); i += 2 {
		u = append(u, uint16(b[i])<<8|uint16(b[i+1]))
	}
	return string(utf16.Decode(u))
}

// PDFText is the text of a PDF of ours, its lines joined to one.
func PDFText(t *testing.T, pdf []byte) string {
	t.Helper()
	var out []string
	for _, p := range ReadPDF(t, pdf) {
		for _, r := range p.Runs {
			out = append(out, r.Text)
		}
	}
	require.NotEmpty(t, out)
	return strings.Join(strings.Fields(strings.Join(out, " ")), " ")
}
