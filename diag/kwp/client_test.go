package kwp_test

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/dtc"
	"readback/diag/kwp"
	"readback/diag/link"
	"readback/diag/link/linktest"
)

const ms = time.Millisecond

var at = link.AtHeader(0x28)

// asked plays one request with its answers to a client.
func asked(t *testing.T, request string, answers ...linktest.Answer) *kwp.Client {
	t.Helper()
	return kwp.New(linktest.Play(t, linktest.Step{To: at, Request: unhex(t, request), Answers: answers}), at, kwp.Options{})
}

func says(t *testing.T, answer string) linktest.Answer {
	return linktest.Answer{Data: unhex(t, answer), After: 20 * ms}
}

// The request forms: 18 02 FF 00 is the usual one; the others from memory of ISO 14230-3.
func TestRequests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx := t.Context()
		p0133 := dtc.From2(0x01, 0x33)
		if l, err := asked(t, "18 02 FF 00", says(t, "58 01 01 33 E0")).CodesByStatus(ctx, kwp.Identified2, kwp.GroupAll); err != nil || len(l) != 1 || l[0].Code != p0133 {
			t.Errorf("18: %v, %v", l, err)
		}
		if l, err := asked(t, "18 00 40 00", says(t, "58 00")).CodesByStatus(ctx, kwp.Identified, kwp.GroupChassis); err != nil || l == nil || len(l) != 0 {
			t.Errorf("18 without codes: %v, %v", l, err)
		}
		for s, request := range map[kwp.Selection]string{kwp.Supported: "18 01 FF 00", kwp.Supported2: "18 03 FF 00", kwp.MostRecent2: "18 04 FF 00"} {
			if l, err := asked(t, request, says(t, "58 01 01 33 60")).CodesByStatus(ctx, s, kwp.GroupAll); err != nil || len(l) != 1 {
				t.Errorf("%s: %v, %v", request, l, err)
			}
		}
		for group, request := range map[uint16]string{kwp.GroupPowertrain: "13 00 00", kwp.GroupBody: "13 80 00", kwp.GroupNetwork: "13 C0 00"} {
			if l, err := asked(t, request, says(t, "53 00")).Codes(ctx, group); err != nil || l == nil {
				t.Errorf("%s: %v, %v", request, l, err)
			}
		}
		if l, err := asked(t, "13 FF 00", says(t, "53 01 01 33")).Codes(ctx, kwp.GroupAll); err != nil || len(l) != 1 {
			t.Errorf("13: %v, %v", l, err)
		}
		if s, err := asked(t, "17 01 33", says(t, "57 00")).StatusOf(ctx, p0133); err != nil || s.Known {
			t.Errorf("a code that the module does not have: %+v, %v", s, err)
		}
		if s, err := asked(t, "17 01 33", says(t, "57 01 01 33 E0")).StatusOf(ctx, p0133); err != nil || s.Status != 0xE0 {
			t.Errorf("17: %v, %v", s, err)
		}
		if f, err := asked(t, "12 00 02 01 33", says(t, "52 00 01 02")).Frozen(ctx, 0, p0133); err != nil || len(f.Raw) != 2 {
			t.Errorf("12: %v, %v", f, err)
		}
		if p, err := asked(t, "1A 97", says(t, "5A 97 41 42")).Plate(ctx, 0x97); err != nil || p.Text != "AB" {
			t.Errorf("1A: %v, %v", p, err)
		}
		if v, err := asked(t, "21 01", says(t, "61 01 7F")).Local(ctx, 1); err != nil || len(v) != 1 {
			t.Errorf("21: %v, %v", v, err)
		}
		if err := asked(t, "3E 01", says(t, "7E 01")).TesterPresent(ctx); err != nil { // 7E 01 is a published answer of a real module
			t.Errorf("3E: %v", err)
		}
		if err := asked(t, "10 81", says(t, "50 81")).Session(ctx, kwp.DefaultSession); err != nil {
			t.Errorf("10: %v", err)
		}
		if err := asked(t, "20", says(t, "60")).EndSession(ctx); err != nil {
			t.Errorf("20: %v", err)
		}
		if err := asked(t, "82", says(t, "C2")).StopCommunication(ctx); err != nil { // published, see TestPlates
			t.Errorf("82: %v", err)
		}
		for _, option := range []byte{0x7F, 0xA0} {
			if _, err := kwp.New(linktest.Play(t), at, kwp.Options{}).Plate(ctx, option); err == nil {
				t.Errorf("option %02X is asked for", option)
			}
		}
	})
}

// An answer of another service, for another identifier, or for another code is not taken for this request's.
func TestForeignAnswers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, err := asked(t, "1A 90", says(t, "61 90 31"), says(t, "5A 91 32"), says(t, "7F 18 11"), says(t, "5A 90 33")).Plate(t.Context(), kwp.PlateVIN)
		if err != nil || p.Text != "3" {
			t.Errorf("%+v, %v", p, err)
		}
		p, err = asked(t, "1A 90", says(t, "5A 91"), says(t, "5A 90 34")).Plate(t.Context(), kwp.PlateVIN)
		if err != nil || p.Text != "4" {
			t.Errorf("behind another without data: %+v, %v", p, err)
		}
		var shape *kwp.ShapeError
		if _, err := asked(t, "1A 90", says(t, "5A")).Plate(t.Context(), kwp.PlateVIN); !errors.As(err, &shape) {
			t.Errorf("too short to tell whose it is: %v", err)
		}
		s, err := asked(t, "17 01 33", says(t, "57 01 01 34 E0"), says(t, "57 01 01 33 20")).StatusOf(t.Context(), dtc.From2(0x01, 0x33))
		if err != nil || s.Status != 0x20 {
			t.Errorf("%+v, %v", s, err)
		}
	})
}

// A clear goes out once: not again after silence, nor after "busy", nor after "working, wait".
func TestClearOnce(t *testing.T) {
	for _, c := range []struct {
		name    string
		answers []string
		want    error
		code    kwp.NRC
	}{
		{"silence", nil, kwp.ErrNoAnswer, 0},
		{"busy", []string{"7F 14 21"}, nil, kwp.BusyRepeatRequest},
		{"conditions", []string{"7F 14 22"}, nil, kwp.ConditionsNotCorrect},
		{"still at work, then silence", []string{"7F 14 78"}, kwp.ErrNoAnswer, 0},
		{"still at work, then done", []string{"7F 14 78", "7F 14 78", "54 FF 00"}, nil, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var answers []linktest.Answer
				for _, a := range c.answers {
					answers = append(answers, linktest.Answer{Data: unhex(t, a), After: 4 * time.Second / time.Duration(len(c.answers))})
				}
				if len(answers) > 0 {
					answers[0].After = 20 * ms
				}
				begun := time.Now()
				a, err := asked(t, "14 FF 00", answers...).Do(t.Context(), kwp.ClearRequest(kwp.GroupAll))
				var negative *kwp.NegativeError
				switch {
				case c.code != 0 && (!errors.As(err, &negative) || negative.Code != c.code || negative.Service != 0x14 || negative.Text() == ""):
					t.Errorf("%X, %v", a, err)
				case c.code == 0 && !errors.Is(err, c.want):
					t.Errorf("%X, %v", a, err)
				case c.name == "silence" && time.Since(begun) != 1150*ms:
					t.Errorf("silence after %v", time.Since(begun))
				case c.code == 0 && c.want == nil && len(a) != 3:
					t.Errorf("%X", a)
				}
			})
		})
	}
}

// Reads are tried again: after silence and a torn answer once, after "busy" up to three times a second apart.
func TestReadsAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		request := unhex(t, "18 02 FF 00")
		torn := &link.TornError{Address: at, Got: 3, Want: 9, Cause: errors.New("cut")}
		busy := linktest.Step{To: at, Request: request, Answers: []linktest.Answer{says(t, "7F 18 21")}}
		later := linktest.Step{To: at, Request: request, Answers: []linktest.Answer{says(t, "7F 18 23")}}
		good := linktest.Step{To: at, Request: request, Answers: []linktest.Answer{says(t, "58 00")}}
		for _, steps := range [][]linktest.Step{
			{{To: at, Request: request}, good},
			{{To: at, Request: request, Answers: []linktest.Answer{{Err: torn, After: 30 * ms}}}, good},
			{{To: at, Request: request, Answers: []linktest.Answer{{Err: &link.SilenceError{Address: at, Text: "NO DATA"}, After: 30 * ms}}}, good},
			{busy, later, busy, good},
		} {
			if l, err := kwp.New(linktest.Play(t, steps...), at, kwp.Options{}).CodesByStatus(t.Context(), kwp.Identified2, kwp.GroupAll); err != nil || l == nil {
				t.Errorf("%d steps: %v, %v", len(steps), l, err)
			}
		}
		var negative *kwp.NegativeError
		c := kwp.New(linktest.Play(t, busy, busy, busy, busy), at, kwp.Options{})
		if _, err := c.CodesByStatus(t.Context(), kwp.Identified2, kwp.GroupAll); !errors.As(err, &negative) || negative.Code != kwp.BusyRepeatRequest {
			t.Errorf("busy for ever: %v", err)
		}
	})
}

// An adapter's word that nothing came is believed, but not after "working, wait".
func TestSilenceTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		silence := linktest.Answer{Err: &link.SilenceError{Address: at, Text: "NO DATA"}, After: 30 * ms}
		begun := time.Now()
		if _, err := asked(t, "14 FF 00", silence).Do(t.Context(), kwp.ClearRequest(kwp.GroupAll)); !errors.Is(err, kwp.ErrNoAnswer) || time.Since(begun) != 30*ms {
			t.Errorf("%v after %v", err, time.Since(begun))
		}
		a, err := asked(t, "14 FF 00", says(t, "7F 14 78"), silence, linktest.Answer{Data: unhex(t, "54 FF 00"), After: 3 * time.Second}).Do(t.Context(), kwp.ClearRequest(kwp.GroupAll))
		if err != nil || len(a) != 3 {
			t.Errorf("%X, %v", a, err)
		}
	})
}

func TestNoneAsked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		if _, err := asked(t, "3E 02").Do(t.Context(), []byte{0x3E, 0x02}); !errors.Is(err, kwp.ErrNoneAsked) {
			t.Errorf("%v", err)
		}
		var negative *kwp.NegativeError
		if _, err := asked(t, "3E 02", says(t, "7F 3E 11")).Do(t.Context(), []byte{0x3E, 0x02}); !errors.As(err, &negative) {
			t.Errorf("%v", err)
		}
	})
}

// late tells first that a long answer has begun.
type late struct {
	link.Link
	told bool
}

func (l *late) Receive(ctx context.Context) (link.Message, error) {
	if !l.told && ctx.Err() == nil {
		l.told = true
		return link.Message{Address: at, Begun: 200}, nil
	}
	return l.Link.Receive(ctx)
}

// A long answer that has begun is waited for beyond the usual time.
func TestBegun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		script := linktest.Play(t, linktest.Step{Request: unhex(t, "18 02 FF 00"), Answers: []linktest.Answer{{Data: unhex(t, "58 00"), After: 7 * time.Second}}})
		l, err := kwp.New(&late{Link: script}, at, kwp.Options{}).CodesByStatus(t.Context(), kwp.Identified2, kwp.GroupAll)
		if err != nil || l == nil {
			t.Errorf("%v, %v", l, err)
		}
	})
}

// The late answer to one code is not taken for that to the next.
func TestLateAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		script := linktest.Play(t,
			linktest.Step{Request: unhex(t, "18 02 FF 00"), Answers: []linktest.Answer{{Data: unhex(t, "58 01 01 33 E0"), After: 1250 * ms}}},
			linktest.Step{Request: unhex(t, "18 02 40 00"), Answers: []linktest.Answer{{Data: unhex(t, "58 00"), After: 20 * ms}}})
		c := kwp.New(script, at, kwp.Options{Tries: 1})
		if _, err := c.CodesByStatus(t.Context(), kwp.Identified2, kwp.GroupAll); !errors.Is(err, kwp.ErrNoAnswer) {
			t.Fatalf("%v", err)
		}
		if l, err := c.CodesByStatus(t.Context(), kwp.Identified2, kwp.GroupChassis); err != nil || len(l) != 0 {
			t.Errorf("%v, %v", l, err)
		}
	})
}

func TestEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		c := asked(t, "18 02 FF 00")
		time.AfterFunc(time.Millisecond, cancel) // the request has gone out by then
		if _, err := c.CodesByStatus(ctx, kwp.Identified2, kwp.GroupAll); !errors.Is(err, context.Canceled) {
			t.Errorf("cancelled: %v", err)
		}
		gone := linktest.Play(t, linktest.Step{Request: unhex(t, "18 02 FF 00"), Answers: []linktest.Answer{{Err: link.ErrGone}}})
		if _, err := kwp.New(gone, at, kwp.Options{}).CodesByStatus(t.Context(), kwp.Identified2, kwp.GroupAll); !errors.Is(err, link.ErrGone) {
			t.Errorf("gone: %v", err)
		}
		if _, err := kwp.New(linktest.Play(t), at, kwp.Options{}).Do(t.Context(), nil); err == nil {
			t.Error("an empty request is sent")
		}
		short := asked(t, "1A 90", says(t, "7F 1A"))
		var shape *kwp.ShapeError
		if _, err := short.Plate(t.Context(), kwp.PlateVIN); !errors.As(err, &shape) {
			t.Errorf("short refusal: %v", err)
		}
	})
}
