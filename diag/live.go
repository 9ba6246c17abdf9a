package diag

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"readback/diag/adapter"
	"readback/diag/garage"
	"readback/diag/link"
	"readback/diag/obd"
	"readback/diag/uds"
)

// LiveKind is how a live value is asked for.
type LiveKind string

const (
	LiveParameter  LiveKind = "parameter"  // service 01 of SAE J1979
	LiveIdentifier LiveKind = "identifier" // service 22 of ISO 14229-1
	LiveSupply     LiveKind = "supply"     // measured by the adapter; the car is not asked
)

// LiveKey names one live value of one module. Keys can be compared.
type LiveKey struct {
	Kind    LiveKind
	Address link.Address // the module; zero with LiveSupply
	Number  uint16       // the parameter, 01 to FF, or the identifier
}

// String is the form that [ChooseLive] understands: "7E0:0C", "7E5:DD00", "supply".
func (k LiveKey) String() string {
	switch k.Kind {
	case LiveParameter:
		return fmt.Sprintf("%s:%02X", k.Address.Request, k.Number)
	case LiveIdentifier:
		return fmt.Sprintf("%s:%04X", k.Address.Request, k.Number)
	}
	return string(LiveSupply)
}

// standard is the number of the parameter of SAE J1979 that a value is, in service 01 or in J1979-2's identifiers.
func (k LiveKey) standard() (parameter byte, ok bool) {
	switch k.Kind {
	case LiveParameter:
		return byte(k.Number), true
	case LiveIdentifier:
		return obd.ParameterOfIdentifier(k.Number)
	}
	return 0, false
}

// LivePart is one number that a live value tells.
type LivePart struct {
	Label     string  `json:"label"` // "" where it tells one thing
	Unit      string  `json:"unit"`
	Low, High float64 `json:"-"` // what the bytes can tell; both zero where that is not known
	Digits    int     `json:"digits"`
}

// LiveValue is a value that can be watched.
type LiveValue struct {
	Key    LiveKey
	Name   string     // in plain words
	Module string     // whose value it is; "" with LiveSupply
	Parts  []LivePart // the numbers that it can tell; none when it tells states, or when only its bytes are known
	Source string     // what name and numbers rest on
}

// Offered are the values that can be watched here: the parameters that each module says it offers (SAE J1979 by service
// 01, SAE J1979-2 by the identifiers F4xx), the identifiers of [Options] by the modules that tell them, and the supply
// where the adapter measures it. Names of modules are those of the newest record. Offered, Look, Send and Watch run one
// at a time.
func (v *Visit) Offered(ctx context.Context) ([]LiveValue, error) {
	v.busy.Lock()
	defer v.busy.Unlock()
	if err := v.maySend(ctx); err != nil {
		return nil, err
	}
	keys := map[LiveKey]bool{}
	if err := v.offeredByAll(ctx, keys); err != nil {
		return nil, err
	}
	if len(keys) == 0 { // many battery cars are silent when all are asked at once
		for _, m := range v.known() {
			if err := v.offeredAt(ctx, m.Address, keys); err != nil {
				return nil, err
			}
		}
	}
	for _, id := range v.opt.Identifiers {
		if err := v.tellers(ctx, id, keys); err != nil {
			return nil, err
		}
	}
	if _, can := v.conn.(adapter.Supply); can && v.conn.Abilities().Supply {
		keys[LiveKey{Kind: LiveSupply}] = true
	}
	out := make([]LiveValue, 0, len(keys))
	for _, k := range sortedKeys(keys) {
		out = append(out, v.describe(k))
	}
	return out, nil
}

// AddIdentifier adds a value of service 22 that the owner knows this car tells, as [Options.Identifiers] does: the next
// Offered finds the modules that tell it. The error is [ErrManyIdentifiers] where there are too many already.
func (v *Visit) AddIdentifier(id uint16) error {
	v.busy.Lock()
	defer v.busy.Unlock()
	switch {
	case slices.Contains(v.opt.Identifiers, id):
		return nil
	case len(v.opt.Identifiers) >= maxIdentifiers:
		return ErrManyIdentifiers
	}
	v.mu.Lock()
	v.opt.Identifiers = append(slices.Clone(v.opt.Identifiers), id)
	v.mu.Unlock()
	v.gate.Know(id)
	return nil
}

// known are the modules of the newest record that answered.
func (v *Visit) known() (out []garage.Module) {
	r, _ := v.Record()
	for _, m := range r.Modules {
		if m.Answered == garage.Yes {
			out = append(out, m)
		}
	}
	return out
}

// sortedKeys puts keys in order: by module, service 01 first, then by number; the supply last.
func sortedKeys(keys map[LiveKey]bool) []LiveKey {
	order := func(k LiveKey) int {
		return slices.Index([]LiveKind{LiveParameter, LiveIdentifier, LiveSupply}, k.Kind)
	}
	return slices.SortedFunc(maps.Keys(keys), func(a, b LiveKey) int {
		return cmp.Or(cmp.Compare(order(a)/2, order(b)/2), cmp.Compare(a.Address.Request.Value, b.Address.Request.Value),
			cmp.Compare(order(a), order(b)), cmp.Compare(a.Number, b.Number))
	})
}

// offeredByAll asks all modules at once what they offer, on both widths and by both standards. A module that offers a
// value by both has it once, by service 01.
func (v *Visit) offeredByAll(ctx context.Context, keys map[LiveKey]bool) error {
	for _, a := range v.toAll() {
		if err := v.offeredAt(ctx, a, keys); err != nil {
			return err
		}
	}
	return nil
}

// offeredAt asks one address, of all modules or of one.
func (v *Visit) offeredAt(ctx context.Context, a link.Address, keys map[LiveKey]bool) error {
	p := v.router.Peer(a)
	defer p.Close()
	c := v.parameters(p, a)
	byService, err := c.Offered(ctx)
	if err != nil && !only(err) {
		return err
	}
	byIdentifier, err := onUDS{c}.offered(ctx)
	if err != nil && !only(err) {
		return err
	}
	for _, id := range byService.IDs() {
		v.note(a, id, byService[id].Value, LiveParameter, keys)
	}
	for _, id := range byIdentifier.IDs() {
		v.note(a, id, byIdentifier[id].Value, LiveIdentifier, keys)
	}
	return nil
}

// note notes what one module offers. The tables of what is offered are no values.
func (v *Visit) note(asked link.Address, from link.ID, offered map[byte]bool, kind LiveKind, keys map[LiveKey]bool) {
	at, ok := v.moduleAt(asked, from)
	if !ok {
		return
	}
	v.hear(from)
	for p := range offered {
		k := LiveKey{LiveParameter, at, uint16(p)}
		if kind == LiveIdentifier && !keys[k] {
			k.Kind, k.Number = kind, obd.IdentifierOfParameter(p)
		}
		if p%0x20 != 0 {
			keys[k] = true
		}
	}
}

// moduleAt is the address of the module that answered: the one that was asked, the pair that the standard or the record
// knows. ok is false where its request identifier is not known.
func (v *Visit) moduleAt(asked link.Address, from link.ID) (link.Address, bool) {
	switch {
	case !asked.Functional && asked.Answer == from:
		return asked, true
	case asked.Mode == link.Header:
		return link.AtHeader(byte(from.Value)), true
	}
	r, _ := v.Record()
	for _, m := range r.Modules {
		if m.Answer == from {
			return m.Address, true
		}
	}
	return pairOf(link.Address{Answer: from})
}

// tellers finds the modules that tell an identifier: those that answer when all are asked at once, and those of the
// newest record, which may not listen to that.
func (v *Visit) tellers(ctx context.Context, id uint16, keys map[LiveKey]bool) error {
	targets := v.toAll()
	for _, m := range v.known() {
		targets = append(targets, m.Address)
	}
	for _, a := range targets {
		if keys[LiveKey{LiveIdentifier, a, id}] {
			continue
		}
		if err := v.tellersAt(ctx, a, id, keys); err != nil {
			return err
		}
	}
	return nil
}

func (v *Visit) tellersAt(ctx context.Context, a link.Address, id uint16, keys map[LiveKey]bool) error {
	p := v.router.Peer(a)
	defer p.Close()
	answers, err := v.parameters(p, a).Ask(ctx, uds.DataRequest(id))
	if err != nil {
		return onlyThis(err)
	}
	for from, r := range answers {
		at, ok := v.moduleAt(a, from)
		if ok && r.Err == nil && len(cutValues(r.Value, []uint16{id}, nil)) > 0 {
			keys[LiveKey{LiveIdentifier, at, id}] = true
		}
	}
	return nil
}

// describe is what is known of a value.
func (v *Visit) describe(k LiveKey) LiveValue {
	out := LiveValue{Key: k, Module: v.moduleName(k.Address)}
	p, standard := k.standard()
	switch {
	case k.Kind == LiveSupply:
		out.Name, out.Module, out.Source = "12 V supply at the socket", "", "measured by the adapter, may be off by 0.5 V"
		out.Parts = []LivePart{{Unit: "V", High: 16, Digits: 1}}
	case standard:
		out.Source = "SAE J1979"
		for _, known := range obd.Parameters() {
			if known.Number == p {
				out.Name = capital(known.Name)
				for _, x := range known.Values {
					out.Parts = append(out.Parts, LivePart{x.Label, string(x.Unit), x.Low, x.High, x.Digits})
				}
			}
		}
		if out.Name == "" {
			out.Name, out.Source = fmt.Sprintf("Parameter %02X", p), "not described here: its bytes are shown"
		}
	default:
		m := v.carProfile().Identifiers[fmt.Sprintf("%04X", k.Number)]
		out.Name, out.Source = fmt.Sprintf("Identifier %04X", k.Number), "added by you: its bytes are shown"
		if m.Name != "" {
			out.Name, out.Source = m.Name, v.carProfile().Source
			out.Parts = []LivePart{{Unit: m.Unit, Digits: m.Digits}}
		}
	}
	return out
}

// capital begins a name with a capital letter.
func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// carProfile is what is known of this car's own values.
func (v *Visit) carProfile() profile {
	v.mu.Lock()
	defer v.mu.Unlock()
	return profileOf(firstNonEmpty(v.number, v.car.VIN))
}

// moduleName is a module's name in the newest record, or the customary one.
func (v *Visit) moduleName(a link.Address) string {
	r, _ := v.Record()
	for _, m := range r.Modules {
		if m.Request == a.Request {
			return m.Name
		}
	}
	m := garage.Module{Request: a.Request}
	nameModule(&m)
	return m.Name
}

// ChoiceError means that a text names no value, or several different ones.
type ChoiceError struct {
	Text string
	Near []string // what it may have meant; none: nothing like it is offered
}

func (e *ChoiceError) Error() string {
	if len(e.Near) == 0 {
		return fmt.Sprintf("%q: this car does not offer such a value", e.Text)
	}
	return fmt.Sprintf("%q may be several values: %s", e.Text, strings.Join(e.Near, ", "))
}

// sentence is the error in words for the owner.
func (e *ChoiceError) sentence() string {
	if len(e.Near) == 0 {
		return fmt.Sprintf("This car does not offer a value %q.", e.Text)
	}
	return fmt.Sprintf("%q may be one of several values: %s.", e.Text, strings.Join(e.Near, ", "))
}

// ChooseLive finds the value that a text names: words of its name ("engine speed"), the number of a parameter ("0C",
// "01:0C"), an identifier ("F40C", "22:DD00"), or "supply". With a module's identifier before it ("7E1:0C") it is that
// module's. Without one it is of the first module that offers it, in the order of their identifiers. A parameter is found
// by its number and by its identifier, whichever of the two this car offers. Every error is a [*ChoiceError].
func ChooseLive(offered []LiveValue, text string) (LiveValue, error) {
	rest := strings.TrimSpace(text)
	if head, tail, ok := strings.Cut(rest, ":"); ok {
		if id, err := link.ParseID(strings.ToUpper(head)); err == nil {
			offered = slices.DeleteFunc(slices.Clone(offered), func(v LiveValue) bool { return v.Key.Address.Request != id })
			rest = tail
		}
	}
	fits, isNumber := byNumber(rest)
	if isNumber {
		if i := slices.IndexFunc(offered, fits); i >= 0 {
			return offered[i], nil
		}
		return LiveValue{}, &ChoiceError{Text: text}
	}
	if strings.EqualFold(rest, string(LiveSupply)) {
		for _, v := range offered {
			if v.Key.Kind == LiveSupply {
				return v, nil
			}
		}
	}
	return byWords(offered, text, rest)
}

// byNumber reads "0C", "01:0C", "F40C" and "22:DD00".
func byNumber(text string) (fits func(LiveValue) bool, ok bool) {
	service, number, hasService := strings.Cut(text, ":")
	if !hasService {
		service, number = "", text
	}
	n, err := strconv.ParseUint(number, 16, 16)
	if err != nil || hasService && service != "01" && service != "22" {
		return nil, false
	}
	switch {
	case len(number) == 2 && service != "22":
		return func(v LiveValue) bool { p, ok := v.Key.standard(); return ok && uint64(p) == n }, true
	case len(number) == 4 && service != "01":
		p, standard := obd.ParameterOfIdentifier(uint16(n))
		return func(v LiveValue) bool {
			q, same := v.Key.standard()
			return v.Key.Kind == LiveIdentifier && uint64(v.Key.Number) == n || standard && same && p == q
		}, true
	}
	return nil, false
}

// alike are words that owners use for words in the names.
var alike = map[string]string{"engine": "motor", "rpm": "motor speed", "revs": "motor speed"}

// byWords finds the value whose name is the words, or has words that begin with them; where none has, the same with
// words that are alike.
func byWords(offered []LiveValue, text, words string) (LiveValue, error) {
	typed := strings.Fields(strings.ToLower(words))
	found := named(offered, typed)
	if len(found) == 0 {
		for i, w := range typed {
			if a, ok := alike[w]; ok {
				typed[i] = a
			}
		}
		found = named(offered, strings.Fields(strings.Join(typed, " ")))
	}
	if len(found) == 1 {
		return found[0], nil
	}
	e := &ChoiceError{Text: text}
	for _, f := range found {
		e.Near = append(e.Near, f.Name)
	}
	return LiveValue{}, e
}

// named are the values whose names fit, each name once: the one that is the words, else all that have words that begin
// with them.
func named(offered []LiveValue, typed []string) (found []LiveValue) {
	if len(typed) == 0 {
		return nil
	}
	for _, v := range offered {
		if strings.EqualFold(v.Name, strings.Join(typed, " ")) {
			return []LiveValue{v}
		}
		if begins(v.Name, typed) && !slices.ContainsFunc(found, func(f LiveValue) bool { return f.Name == v.Name }) {
			found = append(found, v)
		}
	}
	return found
}

// begins reports that for each of the typed words there is one in the text that begins with it.
func begins(text string, typed []string) bool {
	has := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return r == ' ' || r == ',' })
	return !slices.ContainsFunc(typed, func(w string) bool {
		return !slices.ContainsFunc(has, func(h string) bool { return strings.HasPrefix(h, w) })
	})
}

// FindLive are all values that a text may mean, in the order that they are offered in: those of [ChooseLive], and those
// whose name and module together have the words. An empty text means all.
func FindLive(offered []LiveValue, text string) []LiveValue {
	typed := strings.Fields(strings.ToLower(text))
	number, isNumber := byNumber(strings.TrimSpace(text))
	other := slices.Clone(typed)
	for i, w := range other {
		if a, ok := alike[w]; ok {
			other[i] = a
		}
	}
	other = strings.Fields(strings.Join(other, " "))
	var out []LiveValue
	for _, v := range offered {
		about := v.Name + " " + v.Module + " " + v.Key.String()
		if begins(about, typed) || begins(about, other) || isNumber && number(v) {
			out = append(out, v)
		}
	}
	return out
}
