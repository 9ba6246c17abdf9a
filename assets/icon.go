package assets

import _ "embed"

//go:embed icon.png
var icon []byte

// Icon is the program's icon, a PNG of 256x256 made from icon.svg: a latch with the key in its notch.
func Icon() []byte { return append([]byte(nil), icon...) }
