package simcar

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"

	"readback/assets"
)

// Default is the scenario that Load takes for an empty name.
const Default = "courier"

// formVersion is the version of the document's form that this package reads.
const formVersion = 1

// ErrUnknownScenario is returned for a name that no embedded scenario has.
var ErrUnknownScenario = errors.New("no such scenario")

// ScenarioError tells what is wrong in a scenario document, and where.
type ScenarioError struct {
	File  string // the embedded name, or the path
	Field string // such as modules.charging.codes.P1D5A-13.status; empty when it concerns the whole document
	Cause error
}

func (e *ScenarioError) Error() string {
	if e.Field == "" {
		return fmt.Sprintf("simcar: scenario %s: %v", e.File, e.Cause)
	}
	return fmt.Sprintf("simcar: scenario %s: %s: %v", e.File, e.Field, e.Cause)
}

func (e *ScenarioError) Unwrap() error { return e.Cause }

// Names are the embedded scenarios, the default first.
func Names() []string {
	names := []string{Default}
	entries, err := fs.ReadDir(assets.Scenarios, "scenarios")
	if err != nil {
		return names
	}
	for _, e := range entries {
		if n := strings.TrimSuffix(e.Name(), ".json"); n != Default {
			names = append(names, n)
		}
	}
	return names
}

// Load reads an embedded scenario by name; an empty name is "courier".
func Load(name string) (*Scenario, error) {
	if name == "" {
		name = Default
	}
	raw, err := embedded(name)
	if err != nil {
		return nil, &ScenarioError{File: name, Cause: err}
	}
	return read(name, raw)
}

// MaxFileSize is the largest scenario that is read, in bytes.
const MaxFileSize = 4 << 20

// LoadFile reads a scenario from a file of at most [MaxFileSize]. Its base, if it has one, is an embedded scenario.
func LoadFile(path string) (*Scenario, error) {
	in, err := os.Open(path)
	if err != nil {
		return nil, &ScenarioError{File: path, Cause: err}
	}
	defer in.Close()
	raw, err := io.ReadAll(io.LimitReader(in, MaxFileSize+1))
	if err == nil && len(raw) > MaxFileSize {
		err = fmt.Errorf("has more than %d bytes", MaxFileSize)
	}
	if err != nil {
		return nil, &ScenarioError{File: path, Cause: err}
	}
	return read(path, raw)
}

func embedded(name string) ([]byte, error) {
	if !slices.Contains(Names(), name) {
		return nil, fmt.Errorf("%w; there are %s", ErrUnknownScenario, strings.Join(Names(), ", "))
	}
	return assets.Scenarios.ReadFile("scenarios/" + name + ".json")
}

// read merges a document with its base and checks the result.
func read(file string, raw []byte) (*Scenario, error) {
	whole, err := merged(raw, nil)
	if err != nil {
		return nil, located(file, err)
	}
	return decode(file, whole)
}

// decode makes a checked scenario of a whole document.
func decode(file string, whole map[string]any) (*Scenario, error) {
	raw, err := json.Marshal(whole)
	if err != nil {
		return nil, located(file, err)
	}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	s := new(Scenario)
	if err := d.Decode(s); err != nil {
		return nil, located(file, err)
	}
	if err := s.Validate(); err != nil {
		return nil, located(file, err)
	}
	return s, nil
}

// merged is the document with everything of its base that it doesn't change.
func merged(raw []byte, seen []string) (map[string]any, error) {
	var doc map[string]any
	if err := json.Unmarshal(raw, &doc); err != nil {
		return nil, err
	}
	base, ok := doc["base"]
	if !ok {
		return doc, nil
	}
	name, ok := base.(string)
	if !ok {
		return nil, &fieldError{"base", errors.New("must be the name of an embedded scenario")}
	}
	if slices.Contains(seen, name) {
		return nil, &fieldError{"base", fmt.Errorf("%s is its own base", name)}
	}
	below, err := embedded(name)
	if err != nil {
		return nil, &fieldError{"base", err}
	}
	from, err := merged(below, append(seen, name))
	if err != nil {
		return nil, err
	}
	return patch(from, doc), nil
}

// patch is the JSON Merge Patch of RFC 7396, section 2, for objects.
func patch(target, change map[string]any) map[string]any {
	if target == nil {
		target = map[string]any{}
	}
	for k, v := range change {
		switch v := v.(type) {
		case nil:
			delete(target, k)
		case map[string]any:
			inner, _ := target[k].(map[string]any)
			target[k] = patch(inner, v)
		default:
			target[k] = v
		}
	}
	return target
}

// fieldError is a problem with one field; the file is added where it is known.
type fieldError struct {
	field string
	cause error
}

func (e *fieldError) Error() string { return e.field + ": " + e.cause.Error() }
func (e *fieldError) Unwrap() error { return e.cause }

// located puts the file, and the field where the error tells one, to an error.
func located(file string, err error) error {
	var (
		field *fieldError
		kind  *json.UnmarshalTypeError
	)
	switch {
	case errors.As(err, &field):
		return &ScenarioError{File: file, Field: field.field, Cause: field.cause}
	case errors.As(err, &kind):
		return &ScenarioError{File: file, Field: kind.Field, Cause: fmt.Errorf("must not be a %s", kind.Value)}
	}
	return &ScenarioError{File: file, Cause: err}
}
