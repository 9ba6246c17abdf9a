package assets

import "embed"

// Scenarios holds the practice cars, one JSON document a car: scenarios/NAME.json. All of it is invented.
// readback/diag/simcar reads them; see its Scenario for the fields.
//
//go:embed scenarios/*.json
var Scenarios embed.FS
