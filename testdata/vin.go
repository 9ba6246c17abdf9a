package testdata

import _ "embed"

// VINs are vehicle identification numbers with check sum and verdict; the file names the source of each.
//
//go:embed vin.tsv
var VINs string
