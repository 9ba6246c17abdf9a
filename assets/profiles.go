package assets

import "embed"

//go:embed profiles/*.json
var profiles embed.FS

// Profiles are what is known of the data that particular cars keep with their codes, one JSON document a car.
func Profiles() [][]byte {
	entries, err := profiles.ReadDir("profiles")
	if err != nil {
		panic(err) // the folder is embedded: it can't be missing
	}
	var out [][]byte
	for _, e := range entries {
		b, err := profiles.ReadFile("profiles/" + e.Name())
		if err != nil {
			panic(err)
		}
		out = append(out, b)
	}
	return out
}
