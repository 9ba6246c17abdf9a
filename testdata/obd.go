package testdata

import _ "embed"

// OBDParameters are values of SAE J1979 parameters as two independent programs show them; the file names them.
//
//go:embed obd_parameters.tsv
var OBDParameters string

// OBDLayouts are places and factors of the numbers in parameters 64-A6 after three sources; the file names them.
//
//go:embed obd_layouts.tsv
var OBDLayouts string

// OBDUnits are the units-and-scaling ids of service 06 after two sources; the file names them.
//
//go:embed obd_units.tsv
var OBDUnits string

// OBDMonitors are the monitor ids of service 06; the file names its source.
//
//go:embed obd_monitors.tsv
var OBDMonitors string

// OBDStates are states of three parameters; the file names its source.
//
//go:embed obd_states.tsv
var OBDStates string
