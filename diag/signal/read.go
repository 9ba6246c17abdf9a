package signal

import (
	"fmt"
	"io"
	"os"

	"readback/diag/link"
)

// ReadFile reads the definition file at path.
func ReadFile(path string) (*File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("signal: %w", err)
	}
	defer f.Close()
	return Read(f, path)
}

// Read reads a definition file; name stands for it in errors. The error is a [*FormatError] when r holds no such file
// or one of more than MaxFileSize bytes; what can't be read within one becomes a [Problem].
func Read(r io.Reader, name string) (*File, error) {
	in, err := io.ReadAll(io.LimitReader(r, MaxFileSize+1))
	switch {
	case err != nil:
		return nil, &FormatError{Path: name, Text: "it can't be read", Cause: err}
	case len(in) > MaxFileSize:
		return nil, &FormatError{Path: name, Text: fmt.Sprintf("it has more than %d bytes", MaxFileSize)}
	}
	p := &parser{file: &File{Name: name, byID: map[link.ID]int{}}, scan: newScanner(in), formats: map[string][]string{}}
	p.ahead[0], p.ahead[1] = p.scan.next(), p.scan.next()
	if !p.parse() {
		return nil, &FormatError{Path: name, Text: "this is not a signal definition file"}
	}
	p.finish()
	return p.file, nil
}

// parser reads statement after statement. One that it can't read is told as a problem and left out up to the next line
// that begins with a keyword.
type parser struct {
	file    *File
	scan    *scanner
	ahead   [2]token
	line    int // of the statement that is being read
	message int // place of the message that SG_ lines belong to, -1 when there is none
	signals int
	tables  map[string][]Text
	formats map[string][]string // names of the values of an attribute, where it is an enumeration
	chosen  []choice
	floats  []floating
	muxed   []muxing
}

// choice, floating and muxing are told apart from their message and looked up when all messages are known.
type choice struct {
	line  int
	at    link.ID
	name  string
	table string
	texts []Text
}

type floating struct {
	line int
	at   link.ID
	name string
	bits int
}

type muxing struct {
	line     int
	at       link.ID
	name, by string
	ranges   []Range
}

// keywords begin a statement. Those without a reader are passed over: they say nothing about a value in a frame.
var keywords = map[string]func(*parser) error{
	"VERSION": nil, "NS_": (*parser).newSymbols, "BS_": nil, "BU_": nil,
	"BO_": (*parser).messageLine, "SG_": (*parser).signalLine,
	"CM_": (*parser).comment, "VAL_": (*parser).valueTexts, "VAL_TABLE_": (*parser).valueTable,
	"SIG_VALTYPE_": (*parser).valueType, "SG_MUL_VAL_": (*parser).multiplexed,
	"BA_": (*parser).attribute, "BA_DEF_": (*parser).attributeDefined,
	"BA_DEF_DEF_": nil, "BA_DEF_REL_": nil, "BA_REL_": nil, "BA_DEF_DEF_REL_": nil, "BU_SG_REL_": nil, "BU_EV_REL_": nil,
	"BU_BO_REL_": nil, "NS_DESC_": nil, "CAT_DEF_": nil, "CAT_": nil, "FILTER": nil, "EV_": nil, "EV_DATA_": nil,
	"ENVVAR_DATA_": nil, "SGTYPE_": nil, "SGTYPE_VAL_": nil, "BA_DEF_SGTYPE_": nil, "BA_SGTYPE_": nil,
	"SIG_TYPE_REF_": nil, "SIG_GROUP_": nil, "SIGTYPE_VALTYPE_": nil, "BO_TX_BU_": nil, "VECTOR__INDEPENDENT_SIG_MSG": nil,
}

func (p *parser) problem(line int, format string, args ...any) {
	switch n := len(p.file.Problems); {
	case n == MaxProblems-1:
		p.file.Problems = append(p.file.Problems, Problem{Text: "there are more problems than are listed here"})
	case n < MaxProblems:
		p.file.Problems = append(p.file.Problems, Problem{Line: line, Text: fmt.Sprintf(format, args...)})
	}
}

// parse reads the whole file; known is false when nothing in it is a statement.
func (p *parser) parse() (known bool) {
	p.message = -1
	strange := 0
	for p.ahead[0].kind != end {
		t := p.take()
		read, ok := keywordOf(t)
		if !ok {
			if t.first {
				if strange == 0 {
					p.problem(t.line, "%q begins no statement", shown(t.text))
				}
				strange = t.line
			}
			continue
		}
		known, strange = true, 0
		if read == nil {
			continue
		}
		p.line = t.line
		if err := read(p); err != nil {
			p.problem(t.line, "%s: %s", t.text, err)
		}
		for p.ahead[0].kind != end {
			if _, next := keywordOf(p.ahead[0]); next {
				break
			}
			p.take()
		}
	}
	if p.scan.torn != 0 {
		p.problem(p.scan.torn, "a quotation mark has no partner")
	}
	return known
}

// keywordOf tells whether a token begins a statement: a keyword at the beginning of a line.
func keywordOf(t token) (read func(*parser) error, ok bool) {
	if t.kind != word || !t.first {
		return nil, false
	}
	read, ok = keywords[t.text]
	return read, ok
}

// shown is a piece of the file as a problem quotes it.
func shown(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "..."
	}
	return s
}

func (p *parser) take() token {
	t := p.ahead[0]
	p.ahead[0], p.ahead[1] = p.ahead[1], p.scan.next()
	return t
}

// newSymbols passes over the list of keywords behind NS_: one a line.
func (p *parser) newSymbols() error {
	p.accept(":")
	for p.ahead[0].kind == word && p.ahead[0].text != "BS_" && (p.ahead[1].first || p.ahead[1].kind == end) {
		p.take()
	}
	return nil
}

func (p *parser) accept(text string) bool {
	if p.ahead[0].kind == mark && p.ahead[0].text == text {
		p.take()
		return true
	}
	return false
}

func (p *parser) expect(text string) error {
	if !p.accept(text) {
		return p.wants(text)
	}
	return nil
}

// wants says what should stand where the next token is.
func (p *parser) wants(what string) error {
	t := p.ahead[0]
	if t.kind == end {
		return fmt.Errorf("the file ends where %s should be", what)
	}
	return fmt.Errorf("%q stands where %s should be", shown(t.text), what)
}

func (p *parser) name() (string, error) {
	if p.ahead[0].kind != word {
		return "", p.wants("a name")
	}
	return p.take().text, nil
}

func (p *parser) quoted() (string, error) {
	if p.ahead[0].kind != quoted {
		return "", p.wants("a text in quotation marks")
	}
	return p.take().text, nil
}

// finish joins what stands in different places of the file.
func (p *parser) finish() {
	p.finishFloats()
	p.finishTexts()
	p.finishSwitches()
	for i := range p.file.Messages {
		p.finishMessage(&p.file.Messages[i])
	}
}
