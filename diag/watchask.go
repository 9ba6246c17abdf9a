package diag

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"readback/diag/adapter"
	"readback/diag/garage"
	"readback/diag/link"
	"readback/diag/obd"
	"readback/diag/uds"
)

// series is one value while it is watched.
type series struct {
	key    LiveKey
	name   string
	decode decoder
	times  []time.Time // of the last answers
}

// rate notes an answer and tells how many come a second.
func (s *series) rate(at time.Time) float64 {
	s.times = append(s.times, at)
	if len(s.times) > rateOver {
		s.times = s.times[1:]
	}
	span := at.Sub(s.times[0]).Seconds()
	if span <= 0 {
		return 0
	}
	return float64(len(s.times)-1) / span
}

// without is the sample of a value that was not told.
func (s *series) without(state garage.Answered, why string) Sample {
	return Sample{Key: s.key, Name: s.name, At: time.Now(), State: state, Text: why}
}

// told are the samples of a value that was told.
func (s *series) told(raw []byte) []Sample {
	at := time.Now()
	base := Sample{Key: s.key, Name: s.name, At: at, State: garage.Yes, Raw: raw, Rate: s.rate(at)}
	out := s.decode.read(raw)
	if len(out) == 0 {
		base.Text = base.Raw.String()
		return []Sample{base}
	}
	for i, x := range out {
		x.Key, x.Name, x.At, x.State, x.Raw, x.Rate = base.Key, base.Name, base.At, base.State, base.Raw, base.Rate
		out[i] = x
	}
	return out
}

// decoder reads the bytes of one value.
type decoder struct {
	sized bool                  // the length can be told from the bytes, so that it can share an answer
	fits  func([]byte) bool     // whether these are all of its bytes; nil unless sized
	read  func([]byte) []Sample // its numbers and states; none when they are not described
}

func (v *Visit) decoder(k LiveKey) decoder {
	if p, standard := k.standard(); standard {
		_, described := obd.ParameterName(p)
		read := func(raw []byte) []obd.Reading {
			m, err := obd.DecodeParameter(p, raw)
			if err != nil {
				return nil
			}
			return m.Readings
		}
		return decoder{described, func(raw []byte) bool { return len(read(raw)) > 0 }, func(raw []byte) []Sample { return ofReadings(read(raw)) }}
	}
	m := v.carProfile().Identifiers[fmt.Sprintf("%04X", k.Number)]
	return decoder{m.Bytes > 0, func(raw []byte) bool { return len(raw) == m.Bytes }, func(raw []byte) []Sample {
		value, ok := m.value(raw)
		if !ok {
			return nil
		}
		return []Sample{{Number: true, Value: value, Unit: m.Unit, Digits: m.Digits}}
	}}
}

func ofReadings(readings []obd.Reading) []Sample {
	out := make([]Sample, len(readings))
	for i, r := range readings {
		out[i] = Sample{Label: r.Label, Text: r.Text}
		if r.Text == "" {
			out[i].Number, out[i].Value = true, r.Quantity.Value
			out[i].Unit, out[i].Digits = string(r.Quantity.Unit), r.Quantity.Digits
		}
	}
	return out
}

// supplyAsker reads the adapter's own measurement.
func (v *Visit) supplyAsker(s *series) *asker {
	return &asker{every: supplyEvery, ask: func(ctx context.Context) ([]Sample, bool, error) {
		meter, can := v.conn.(adapter.Supply)
		if !can {
			return []Sample{s.without(garage.Silent, "this adapter does not measure it")}, false, nil
		}
		volts, err := meter.SupplyVolts(ctx)
		switch {
		case ctx.Err() != nil:
			return nil, false, ctx.Err()
		case errors.Is(err, link.ErrGone), errors.Is(err, link.ErrClosed):
			return nil, false, err
		case err != nil:
			return []Sample{s.without(garage.Silent, noAnswer)}, false, nil
		}
		out := s.without(garage.Yes, "")
		out.Number, out.Value, out.Unit, out.Digits, out.Rate = true, volts, "V", 1, s.rate(out.At)
		return []Sample{out}, true, nil
	}}
}

// shared are values of one module that are asked for in one request.
type shared struct {
	visit *Visit
	group []*series // asked for together
	alone bool      // the module does not take several in one request
	lost  int       // requests for several, in a row, of which nothing came although the module answers
	apart []*series // what it leaves out of its answers, asked for by themselves and seldom
	due   time.Time // when apart has its turn
}

func (v *Visit) moduleAsker(group []*series) *asker {
	s := &shared{visit: v, group: group, alone: len(group) == 1}
	return &asker{ask: s.ask}
}

// ask is one round. Values that an answer leaves out are asked for by themselves: when they come then, this module does not
// take several in one request, and each is asked for by itself from then on; else they are set apart. When nothing comes,
// the first is tried by itself: a module may be silent to several. That it is so again tells that no answer was lost.
func (s *shared) ask(ctx context.Context) (out []Sample, heard bool, err error) {
	a := s.visit.reachedAt(s.group[0].key.Address)
	p := s.visit.router.Peer(a)
	defer p.Close()
	c := s.visit.parameters(p, a)
	if s.alone {
		out, told, err := askedAlone(ctx, c, s.group)
		return out, told != nothing, err
	}
	out, left, err := request(ctx, c, s.group)
	if err != nil {
		return nil, false, err
	}
	switch len(left) {
	case 0:
		s.lost = 0
	case len(s.group):
		first, told, err := askedAlone(ctx, c, left[:1])
		if err != nil || told == nothing {
			for _, x := range left[1:] {
				first = append(first, x.without(garage.Silent, noAnswer))
			}
			return first, false, err
		}
		rest, _, err := askedAlone(ctx, c, left[1:])
		s.lost++
		s.alone = s.lost >= silentToSeveral
		return append(first, rest...), true, err
	default:
		more, told, err := askedAlone(ctx, c, left)
		if err != nil {
			return nil, false, err
		}
		out = append(out, more...)
		if s.alone = told == values; !s.alone {
			s.group = slices.DeleteFunc(slices.Clone(s.group), func(x *series) bool { return slices.Contains(left, x) })
			s.apart, s.due = append(s.apart, left...), time.Now().Add(longPause)
		}
		return out, true, nil
	}
	if len(s.apart) > 0 && !time.Now().Before(s.due) {
		more, _, err := askedAlone(ctx, c, s.apart)
		if err != nil {
			return nil, false, err
		}
		out, s.due = append(out, more...), time.Now().Add(longPause)
	}
	return out, true, nil
}

// reachedAt is where a module is asked: at its own address, but for ISO 9141-2 and SAE J1850, where SAE J1979 knows requests to
// all modules only. Whose answer counts is told by its sender.
func (v *Visit) reachedAt(module link.Address) link.Address {
	if all, ok := v.everyone(); ok && module.Mode == link.Header && !v.keyword() {
		return all
	}
	return module
}

// heardOf is the best that came of some requests.
type heardOf int

const (
	nothing  heardOf = iota
	refusals         // the module answers, and tells none of them
	values
)

// askedAlone asks for values one by one. Each has a sample in the end.
func askedAlone(ctx context.Context, c *obd.Client, list []*series) (out []Sample, told heardOf, err error) {
	for _, s := range list {
		got, left, err := request(ctx, c, []*series{s})
		switch {
		case err != nil:
			return nil, nothing, err
		case len(left) > 0:
			got = []Sample{s.without(garage.Silent, noAnswer)}
		case got[0].State == garage.Yes:
			told = values
		case got[0].State == garage.Refused:
			told = max(told, refusals)
		}
		out = append(out, got...)
	}
	return out, told, nil
}

// request sends one request for some values of a module, and returns the samples of those that were told or refused, and
// the values that are left. The refusal of one that shared its request says nothing of the value itself.
func request(ctx context.Context, c *obd.Client, group []*series) (out []Sample, left []*series, err error) {
	k := group[0].key
	ask := []byte{0x01}
	numbers := make([]uint16, len(group))
	for i, s := range group {
		numbers[i] = s.key.Number
		ask = append(ask, byte(s.key.Number))
	}
	if k.Kind == LiveIdentifier {
		ask = uds.DataRequest(numbers...)
	}
	answers, err := c.Ask(ctx, ask)
	if ctx.Err() != nil {
		return nil, nil, ctx.Err()
	}
	if err := onlyThis(err); err != nil {
		return nil, nil, err
	}
	answer := answers[k.Address.Answer]
	var (
		refused *obd.NegativeError
		torn    *link.TornError
	)
	switch {
	case len(group) > 1:
	case errors.As(answer.Err, &refused):
		return []Sample{group[0].without(garage.Refused, "refused: "+uds.NRC(refused.Code).Text())}, nil, nil
	case errors.As(answer.Err, &torn):
		return []Sample{group[0].without(garage.Silent, "only a part of the answer came")}, nil, nil
	}
	var raw map[uint16][]byte
	if answer.Err == nil {
		raw = valuesIn(k.Kind, answer.Value, group, numbers)
	}
	for _, s := range group {
		if b, ok := raw[s.key.Number]; ok {
			out = append(out, s.told(b)...)
		} else {
			left = append(left, s)
		}
	}
	return out, left, nil
}

// valuesIn parts an answer into the bytes of its values. What can't be parted without doubt is left out.
func valuesIn(kind LiveKind, answer []byte, group []*series, numbers []uint16) map[uint16][]byte {
	if kind == LiveIdentifier {
		return cutValues(answer, numbers, func(i int, raw []byte) bool { return group[i].decode.fits(raw) })
	}
	asked := make([]byte, len(numbers))
	for i, n := range numbers {
		asked[i] = byte(n)
	}
	out := map[uint16][]byte{}
	measured, err := obd.DecodeCurrent(answer, asked...)
	if err == nil {
		for _, m := range measured {
			out[uint16(m.Parameter)] = m.Raw
		}
		return out
	}
	if len(group) == 1 && len(answer) > 2 && answer[1] == asked[0] { // of another length than the standard's: it stays raw
		out[numbers[0]] = answer[2:]
	}
	return out
}

// cutValues parts 62 into the bytes of its values: identifiers in the order of the request, some of them left out. The
// lengths are not on the wire; fits tells whether bytes can be all of the value number i. A single value takes all.
func cutValues(answer []byte, asked []uint16, fits func(i int, raw []byte) bool) map[uint16][]byte {
	if len(answer) < 4 || answer[0] != 0x62 {
		return nil
	}
	if len(asked) == 1 {
		if uint16(answer[1])<<8|uint16(answer[2]) != asked[0] {
			return nil
		}
		return map[uint16][]byte{asked[0]: answer[3:]}
	}
	out := map[uint16][]byte{}
	if !cutFrom(answer[1:], asked, 0, fits, out) {
		return nil
	}
	return out
}

func cutFrom(b []byte, asked []uint16, from int, fits func(i int, raw []byte) bool, out map[uint16][]byte) bool {
	if len(b) == 0 {
		return true
	}
	if len(b) < 3 {
		return false
	}
	i := slices.Index(asked[from:], uint16(b[0])<<8|uint16(b[1])) + from
	if i < from {
		return false
	}
	for n := 3; n <= len(b); n++ {
		if fits(i, b[2:n]) && cutFrom(b[n:], asked, i+1, fits, out) {
			out[asked[i]] = b[2:n]
			return true
		}
	}
	return false
}
