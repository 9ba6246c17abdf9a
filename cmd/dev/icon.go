package main

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/png"
)

// iconSizes are those of which desktops and Windows choose, beside the drawn one of 256.
func iconSizes() []int { return []int{16, 24, 32, 48, 64, 128} }

// shrink makes a square picture of n by n points out of a larger one: each point is the mean of the area that it covers.
func shrink(from image.Image, n int) *image.NRGBA {
	b := from.Bounds()
	out := image.NewNRGBA(image.Rect(0, 0, n, n))
	fx, fy := float64(b.Dx())/float64(n), float64(b.Dy())/float64(n)
	for y := range n {
		for x := range n {
			x0, x1, y0, y1 := float64(x)*fx, float64(x+1)*fx, float64(y)*fy, float64(y+1)*fy
			var sum [4]float64 // multiplied by the alpha value
			for sy := int(y0); float64(sy) < y1 && sy < b.Dy(); sy++ {
				for sx := int(x0); float64(sx) < x1 && sx < b.Dx(); sx++ {
					weight := (min(x1, float64(sx+1)) - max(x0, float64(sx))) * (min(y1, float64(sy+1)) - max(y0, float64(sy)))
					r, g, bl, a := from.At(b.Min.X+sx, b.Min.Y+sy).RGBA()
					for i, v := range []uint32{r, g, bl, a} {
						sum[i] += weight * float64(v)
					}
				}
			}
			for i := range sum {
				sum[i] /= fx * fy
			}
			out.Set(x, y, color.RGBA64{uint16(sum[0] + 0.5), uint16(sum[1] + 0.5), uint16(sum[2] + 0.5), uint16(sum[3] + 0.5)})
		}
	}
	return out
}

func pngOf(p image.Image) ([]byte, error) {
	var out bytes.Buffer
	err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&out, p)
	return out.Bytes(), err
}

// icoOf makes a Windows icon file of several sizes: bitmaps of 32 bits a point with their masks, and a PNG of the size
// 256, as Windows takes it since version 6 (ICO format: Microsoft's documents "Icons" and BITMAPINFOHEADER).
func icoOf(from image.Image, sizes []int) ([]byte, error) {
	le := binary.LittleEndian
	head := le.AppendUint16(le.AppendUint16(le.AppendUint16(nil, 0), 1), uint16(len(sizes)))
	var body []byte
	for _, n := range sizes {
		var picture []byte
		if n < 256 {
			picture = bitmapOf(shrink(from, n))
		} else {
			var err error
			if picture, err = pngOf(shrink(from, n)); err != nil {
				return nil, err
			}
		}
		head = append(head, byte(n), byte(n), 0, 0) // 256 is written as 0
		head = le.AppendUint16(le.AppendUint16(head, 1), 32)
		head = le.AppendUint32(head, uint32(len(picture)))
		head = le.AppendUint32(head, uint32(6+16*len(sizes)+len(body)))
		body = append(body, picture...)
	}
	return append(head, body...), nil
}

// bitmapOf is a picture as it stands in an icon file: the header counts the height twice, rows go from the bottom up, and
// a mask of one bit a point follows, in rows of whole four bytes.
func bitmapOf(p *image.NRGBA) []byte {
	le := binary.LittleEndian
	n := p.Bounds().Dx()
	out := le.AppendUint32(nil, 40)
	out = le.AppendUint32(out, uint32(n))
	out = le.AppendUint32(out, uint32(2*n))
	out = le.AppendUint16(le.AppendUint16(out, 1), 32)
	out = append(out, make([]byte, 24)...)
	stride := (n + 31) / 32 * 4
	mask := make([]byte, stride*n)
	for row := range n {
		for x := range n {
			c := p.NRGBAAt(x, n-1-row)
			out = append(out, c.B, c.G, c.R, c.A)
			if c.A == 0 {
				mask[row*stride+x/8] |= 0x80 >> (x % 8)
			}
		}
	}
	return append(out, mask...)
}
