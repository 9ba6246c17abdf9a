package testdata

import _ "embed"

// OBDParameters are values of SAE J1979 parameters as two independent programs show them; the file names them.
//
//go:embed obd_parameters.tsv
var OBDParameters string
