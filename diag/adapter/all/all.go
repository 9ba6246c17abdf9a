// Package all lists the adapter drivers of this program.
package all

import (
	"readback/diag/adapter"
	"readback/diag/adapter/elm"
	"readback/diag/adapter/practice"
	"readback/diag/adapter/slcan"
	"readback/diag/adapter/socketcan"
)

// Drivers are all drivers, the practice car first.
func Drivers() []adapter.Driver {
	return []adapter.Driver{practice.Driver(), elm.Driver(), slcan.Driver(), socketcan.Driver()}
}
