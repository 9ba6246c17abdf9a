package assets

import _ "embed"

// The tables of trouble codes, this project's own: parts, what can be wrong with them, areas of the car, causes, and
// failure types. Each file says in its head what its columns are and what it rests on; codes_p0.tsv explains the rows
// of parts.
var (
	//go:embed codes_p0.tsv
	codesP0 string
	//go:embed codes_gearbox.tsv
	codesGearbox string
	//go:embed codes_electric.tsv
	codesElectric string
	//go:embed codes_p2.tsv
	codesP2 string
	//go:embed codes_chassis.tsv
	codesChassis string
	//go:embed codes_body.tsv
	codesBody string
	//go:embed codes_network.tsv
	codesNetwork string
	//go:embed codes_modules.tsv
	codeModules string

	//go:embed codes_kinds.tsv
	codeKinds string
	//go:embed codes_areas.tsv
	codeAreas string
	//go:embed codes_classes.tsv
	codeClasses string
	//go:embed codes_causes.tsv
	codeCauses string
	//go:embed codes_failures.tsv
	codeFailures string
)

// Codes are the tables of parts, one after another: first code, kinds, part, place, area, doubt.
func Codes() string {
	return codesP0 + codesGearbox + codesElectric + codesP2 + codesChassis + codesBody + codesNetwork
}

// CodeModules is the table of modules that send messages: module, area, and the codes for lost contact, wrong data and
// software that does not fit, doubt.
func CodeModules() string { return codeModules }

// CodeKinds is the table of what can be wrong: kind, meaning, group, general, whether erasing helps.
func CodeKinds() string { return codeKinds }

// CodeAreas is the table of areas: area, words, level when remembered, level when there now, why.
func CodeAreas() string { return codeAreas }

// CodeClasses finds the class of a part by its name: words, class.
func CodeClasses() string { return codeClasses }

// CodeCauses is the table of causes: group of kinds, class, causes, first looks.
func CodeCauses() string { return codeCauses }

// CodeFailures is the table of failure types: value, text, phrase, sure.
func CodeFailures() string { return codeFailures }
