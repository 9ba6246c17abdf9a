package main

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"runtime/debug"
	"slices"
	"strings"
	"time"
)

// The parts of a CycloneDX 1.5 document that are used here: https://cyclonedx.org/docs/1.5/json/
type (
	bom struct {
		Schema       string          `json:"$schema"`
		Format       string          `json:"bomFormat"`
		Spec         string          `json:"specVersion"`
		Serial       string          `json:"serialNumber"`
		Version      int             `json:"version"`
		Metadata     bomMetadata     `json:"metadata"`
		Components   []bomComponent  `json:"components"`
		Dependencies []bomDependency `json:"dependencies"`
	}
	bomMetadata struct {
		Timestamp string       `json:"timestamp"`
		Component bomComponent `json:"component"`
	}
	bomComponent struct {
		Type       string        `json:"type"`
		Ref        string        `json:"bom-ref"`
		Name       string        `json:"name"`
		Version    string        `json:"version,omitempty"`
		Hashes     []bomHash     `json:"hashes,omitempty"`
		Licences   []bomLicence  `json:"licenses,omitempty"`
		URL        string        `json:"purl,omitempty"`
		Properties []bomProperty `json:"properties,omitempty"`
	}
	bomHash struct {
		Algorithm string `json:"alg"`
		Content   string `json:"content"`
	}
	bomLicence struct {
		Expression string `json:"expression"`
	}
	bomProperty struct {
		Name  string `json:"name"`
		Value string `json:"value"`
	}
	bomDependency struct {
		Ref       string   `json:"ref"`
		DependsOn []string `json:"dependsOn"`
	}
)

// built is a program together with what the Go tool wrote into it.
type built struct {
	name    string // of the file
	content []byte
	info    *debug.BuildInfo
}

// sbom lists what the programs of a package are made of, as a CycloneDX document. kinds holds the licence of each module;
// one that is not in it is an error. The same input gives the same document.
func sbom(what string, programs []built, kinds map[string]string, v stamp) ([]byte, error) {
	doc := bom{
		Schema: "http://cyclonedx.org/schema/bom-1.5.schema.json", Format: "CycloneDX", Spec: "1.5", Version: 1,
		Metadata: bomMetadata{Timestamp: v.when.UTC().Format(time.RFC3339), Component: bomComponent{
			Type: "application", Ref: what, Name: "Readback", Version: v.version, Licences: []bomLicence{{"MIT"}},
			Properties: []bomProperty{{"readback:commit", v.commit}, {"readback:package", what}},
		}},
	}
	seen := map[string]bool{}
	whole := bomDependency{Ref: what}
	for _, p := range programs {
		sum := sha256.Sum256(p.content)
		program := bomComponent{Type: "application", Ref: p.name, Name: p.name, Version: v.version, Licences: []bomLicence{{"MIT"}},
			Hashes: []bomHash{{"SHA-256", hex.EncodeToString(sum[:])}}}
		for _, s := range p.info.Settings {
			program.Properties = append(program.Properties, bomProperty{"go:build:" + s.Key, s.Value})
		}
		doc.Components = append(doc.Components, program)
		whole.DependsOn = append(whole.DependsOn, p.name)
		needs := bomDependency{Ref: p.name}
		modules := append(slices.Clone(p.info.Deps), &debug.Module{Path: "std", Version: strings.TrimPrefix(p.info.GoVersion, "go")})
		for _, m := range modules {
			if m.Replace != nil {
				m = m.Replace
			}
			c, err := moduleComponent(m, kinds)
			if err != nil {
				return nil, err
			}
			needs.DependsOn = append(needs.DependsOn, c.Ref)
			if !seen[c.Ref] {
				seen[c.Ref] = true
				doc.Components = append(doc.Components, c)
			}
		}
		slices.Sort(needs.DependsOn)
		doc.Dependencies = append(doc.Dependencies, needs)
	}
	doc.Dependencies = append([]bomDependency{whole}, doc.Dependencies...)
	slices.SortStableFunc(doc.Components, func(a, b bomComponent) int { return cmp.Or(cmp.Compare(a.Type, b.Type), cmp.Compare(a.Ref, b.Ref)) })
	text, err := json.Marshal(doc)
	if err != nil {
		return nil, err
	}
	doc.Serial = serial(text)
	text, err = json.MarshalIndent(doc, "", "  ")
	return append(text, '\n'), err
}

// moduleComponent is a module of a program, or Go's own library.
func moduleComponent(m *debug.Module, kinds map[string]string) (bomComponent, error) {
	kind := kinds[m.Path]
	if m.Path == "std" {
		kind = "BSD-3-Clause"
	}
	if kind == "" {
		return bomComponent{}, fmt.Errorf("%s is in a program and not in %s; run `go run ./cmd/dev licences`", m.Path, licenceFile)
	}
	url := "pkg:golang/" + m.Path + "@" + m.Version
	c := bomComponent{Type: "library", Ref: url, Name: m.Path, Version: m.Version, Licences: []bomLicence{{kind}}, URL: url}
	if m.Sum != "" {
		c.Properties = []bomProperty{{"go:sum", m.Sum}}
	}
	return c, nil
}

// serial is a UUID (RFC 9562, version 8) made of the document itself, so that it is the same each time.
func serial(text []byte) string {
	sum := sha256.Sum256(text)
	sum[6] = sum[6]&0x0F | 0x80
	sum[8] = sum[8]&0x3F | 0x80
	h := hex.EncodeToString(sum[:16])
	return "urn:uuid:" + strings.Join([]string{h[:8], h[8:12], h[12:16], h[16:20], h[20:]}, "-")
}
