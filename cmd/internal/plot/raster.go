package plot

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
)

// maxRaster bounds the embedded picture, in bytes before base64.
const maxRaster = 180_000

// shades are the numbers of colours tried, until the raster is small enough.
var shades = []int{48, 32, 24, 16, 12}

// raster paints a grid: bottomDB and below is paper, topDB and above the top
// colour. Fewer colours are used when the file would grow too large.
func (g grid) raster(bottomDB, topDB float64) ([]byte, error) {
	for _, n := range shades {
		data, err := g.paint(bottomDB, topDB, n)
		if err != nil || len(data) <= maxRaster || n == shades[len(shades)-1] {
			return data, err
		}
	}
	panic("plot: no shades")
}

func (g grid) paint(bottomDB, topDB float64, n int) ([]byte, error) {
	pal := make(color.Palette, n)
	for i := range pal {
		pal[i] = levelColour(float64(i) / float64(n-1))
	}
	img := image.NewPaletted(image.Rect(0, 0, g.cols, g.rows), pal)
	for c := range g.cols {
		for r := range g.rows {
			t := (g.db[c*g.rows+r] - bottomDB) / (topDB - bottomDB)
			t = math.Max(0, math.Min(1, t)) // -Inf is paper
			img.Pix[r*img.Stride+c] = uint8(math.Round(t * float64(n-1)))
		}
	}
	var buf bytes.Buffer
	enc := png.Encoder{CompressionLevel: png.BestCompression}
	if err := enc.Encode(&buf, img); err != nil {
		return nil, fmt.Errorf("cannot encode the picture: %w", err)
	}
	return buf.Bytes(), nil
}
