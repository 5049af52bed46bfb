package plots

import (
	"image"
	"image/color"
	"math"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// nullCanvas draws nothing and refuses numbers that are none.
type nullCanvas struct{}

func (nullCanvas) SetLineWidth(vg.Length)             {}
func (nullCanvas) SetLineDash([]vg.Length, vg.Length) {}
func (nullCanvas) SetColor(color.Color)               {}
func (nullCanvas) Rotate(float64)                     {}
func (nullCanvas) Translate(p vg.Point)               { must(p) }
func (nullCanvas) Scale(float64, float64)             {}
func (nullCanvas) Push()                              {}
func (nullCanvas) Pop()                               {}
func (nullCanvas) Stroke(p vg.Path)                   { mustPath(p) }
func (nullCanvas) Fill(p vg.Path)                     { mustPath(p) }

func (nullCanvas) FillString(_ font.Face, p vg.Point, _ string) { must(p) }
func (nullCanvas) DrawImage(vg.Rectangle, image.Image)          {}

func must(p vg.Point) {
	if s := float64(p.X + p.Y); math.IsNaN(s) || math.IsInf(s, 0) {
		panic("a place that is not a number")
	}
}

func mustPath(p vg.Path) {
	for _, c := range p {
		must(c.Pos)
	}
}
