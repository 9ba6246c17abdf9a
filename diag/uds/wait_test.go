package uds_test

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/dtc"
	"readback/diag/link"
	"readback/diag/pause"
	"readback/diag/uds"
)

// A long answer that has begun is waited for as long as its frames may take (N_Cr 1 s each, ISO 15765-2), however
// short the fixed room is; once a Link has told so much, silence needs no room for further frames.
func TestBegun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		long := append([]byte{0x59, 0x02, 0xFF}, bytes.Repeat([]byte{0x0A, 0x08, 0x13, 0x2F}, 20)...)
		m := newModule(func(n int, _ []byte) []event {
			if n > 1 {
				return nil
			}
			return []event{{after: 100 * ms, begun: len(long)}, {after: 11 * time.Second, data: long}}
		})
		c := uds.New(m, charging, uds.Options{Tries: 1})
		if l, err := c.CodesByStatus(t.Context(), 0xFF); err != nil || len(l.Records) != 20 || m.requests() != 1 {
			t.Fatalf("%d codes, %v after %d requests", len(l.Records), err, m.requests())
		}
		begun := time.Now()
		if _, err := c.CodesByStatus(t.Context(), 0xFF); !errors.Is(err, uds.ErrNoAnswer) || time.Since(begun) != 150*ms {
			t.Errorf("silence: %v after %v", err, time.Since(begun))
		}
	})
}

func TestBegunAndTorn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		torn := &link.TornError{Address: charging, Got: 20, Want: 83, Cause: errors.New("N_Cr")}
		m := newModule(func(int, []byte) []event {
			return []event{{after: 100 * ms, begun: 83}, {after: 3 * time.Second, err: torn}}
		})
		c := uds.New(m, charging, uds.Options{Tries: 1})
		if _, err := c.CodesByStatus(t.Context(), 0xFF); !errors.Is(err, torn) {
			t.Errorf("%v", err)
		}
	})
}

// Should the transport never tell the end, waiting ends with the time that the frames may take, and with the cap.
func TestBegunForEver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for length, want := range map[int]time.Duration{15: 3 * time.Second, 20: 3 * time.Second, 21: 3 * time.Second, 4095: time.Minute} {
			m := newModule(func(int, []byte) []event { return []event{{after: 100 * ms, begun: length}} })
			c := uds.New(m, charging, uds.Options{Tries: 1})
			begun := time.Now()
			if _, err := c.CodesByStatus(t.Context(), 0xFF); !errors.Is(err, uds.ErrNoAnswer) || time.Since(begun) != 100*ms+want {
				t.Errorf("%d bytes: %v after %v", length, err, time.Since(begun))
			}
		}
	})
}

// babbler begins one long answer after another, for ever: each ends when the next begins.
type babbler struct {
	*module
	end   event // of a long answer
	begun bool  // the next is not announced yet
}

func (b *babbler) Receive(ctx context.Context) (link.Message, error) {
	if b.begun {
		b.begun = false
		return event{begun: 10}.message()
	}
	if err := pause.For(ctx, 100*ms); err != nil {
		return link.Message{}, err
	}
	b.begun = true
	return b.end.message()
}

// What never belongs to the request has no more time than one long answer that never ends: the cap until an answer begins,
// and once more for the rest.
func TestBegunAgainAndAgain(t *testing.T) {
	for name, end := range map[string]event{
		"torn":  {err: &link.TornError{Address: charging, Got: 6, Want: 10}},
		"whole": {data: []byte{0x62, 0xF1, 0x97, 'C', 'H', 'A', 'R', 'G', 'E', 'R'}},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ctx, cancel := context.WithTimeout(t.Context(), time.Hour)
				defer cancel()
				c := uds.New(&babbler{module: newModule(func(int, []byte) []event { return nil }), end: end}, charging, uds.Options{})
				begun := time.Now()
				_, err := c.Do(ctx, []byte{0x3E, 0x00})
				if took := time.Since(begun); !errors.Is(err, uds.ErrNoAnswer) || took > 2*time.Minute+time.Second {
					t.Errorf("%v after %v", err, took)
				}
			})
		})
	}
}

// A long answer of an earlier request may still be under way. Neither it nor its being torn is this one's answer, and
// the module can't begin its own before.
func TestBegunBefore(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for name, end := range map[string]event{
			"whole": {after: 2 * time.Second, data: []byte{0x59, 0x02, 0xFF}},
			"torn":  {after: 2 * time.Second, err: &link.TornError{Address: charging, Got: 20, Want: 83}},
		} {
			m := newModule(func(int, []byte) []event {
				return []event{{after: 10 * ms, begun: 83}, end, {after: 2100 * ms, data: []byte{0x54}}}
			})
			if a, err := client(m).Do(t.Context(), uds.ClearRequest(uds.GroupAll)); err != nil || !bytes.Equal(a, []byte{0x54}) || m.requests() != 1 {
				t.Errorf("%s: %X, %v", name, a, err)
			}
			m = newModule(func(int, []byte) []event { return []event{{after: 10 * ms, begun: 83}, end} })
			begun := time.Now()
			_, err := client(m).Do(t.Context(), uds.ClearRequest(uds.GroupAll))
			if took := time.Since(begun); !errors.Is(err, uds.ErrNoAnswer) || took != 2150*ms {
				t.Errorf("%s, then silence: %v after %v", name, err, took)
			}
		}
	})
}

// A request with the suppress bit is over when nothing comes within P2; that is neither an answer nor silence. It may
// be refused, and a module that asks for time owes an answer (ISO 14229-1 clause 8.7).
func TestNoneAsked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		m := newModule(func(int, []byte) []event { return nil })
		_, err := client(m).Do(t.Context(), uds.Suppressed([]byte{0x3E, 0x00}))
		if !errors.Is(err, uds.ErrNoneAsked) || errors.Is(err, uds.ErrNoAnswer) || time.Since(begun) != 150*ms || m.requests() != 1 || !strings.HasSuffix(err.Error(), ": service 3E") {
			t.Errorf("%v after %v", err, time.Since(begun))
		}
		if !bytes.Equal(m.sent[0].Data, []byte{0x3E, 0x80}) {
			t.Errorf("sent %X", m.sent[0].Data)
		}
		silence := &link.SilenceError{Address: charging, Text: "NO DATA"}
		if _, err := client(newModule(func(int, []byte) []event { return []event{{err: silence}} })).Do(t.Context(), []byte{0x10, 0x83}); !errors.Is(err, uds.ErrNoneAsked) {
			t.Errorf("an adapter's silence: %v", err)
		}
		var refused *uds.NegativeError
		if _, err := client(answers(0x7F, 0x10, 0x22)).Do(t.Context(), []byte{0x10, 0x83}); !errors.As(err, &refused) || refused.Code != uds.ConditionsNotCorrect {
			t.Errorf("a refusal: %v", err)
		}
		m = newModule(func(int, []byte) []event { return []event{{after: 20 * ms, data: []byte{0x7F, 0x10, 0x78}}} })
		if _, err := client(m).Do(t.Context(), []byte{0x10, 0x83}); !errors.Is(err, uds.ErrNoAnswer) {
			t.Errorf("after a word of patience: %v", err)
		}
		m = newModule(func(int, []byte) []event {
			return []event{{after: 20 * ms, data: []byte{0x7F, 0x10, 0x78}}, {after: time.Second, data: []byte{0x50, 0x03, 0, 50, 1, 0xF4}}}
		})
		if a, err := client(m).Do(t.Context(), []byte{0x10, 0x83}); err != nil || a[0] != 0x50 {
			t.Errorf("the answer after it: %X, %v", a, err)
		}
	})
}

func TestSuppressed(t *testing.T) {
	for _, c := range []struct{ in, want []byte }{
		{[]byte{0x10, 0x01}, []byte{0x10, 0x81}}, {[]byte{0x19, 0x02, 0xFF}, []byte{0x19, 0x82, 0xFF}}, {[]byte{0x3E, 0x80}, []byte{0x3E, 0x80}},
		{[]byte{0x14, 0x01, 0x02, 0x03}, []byte{0x14, 0x01, 0x02, 0x03}}, {[]byte{0x22, 0x01, 0x02}, []byte{0x22, 0x01, 0x02}}, {[]byte{0x10}, []byte{0x10}},
	} {
		in := bytes.Clone(c.in)
		if got := uds.Suppressed(in); !bytes.Equal(got, c.want) || !bytes.Equal(in, c.in) {
			t.Errorf("%X: %X", c.in, got)
		}
	}
	var with []byte
	for sid := range 0x100 {
		if request := []byte{byte(sid), 0x01}; uds.Suppressed(request)[1] != 0x01 {
			with = append(with, byte(sid))
		}
	}
	if want := []byte{0x10, 0x11, 0x19, 0x27, 0x28, 0x29, 0x2C, 0x31, 0x3E, 0x83, 0x85, 0x86, 0x87}; !bytes.Equal(with, want) {
		t.Errorf("services with a sub-function: % X, want % X", with, want)
	}
}

// An answer that comes after its request was given up is not taken for another's of the same service, whether it is
// a list or a refusal; a request that can't be mistaken loses no time.
func TestLateAnswers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		list := []byte{0x59, 0x02, 0xFF, 1, 2, 3, 4}
		late := map[string][]event{
			"a list":                          {{after: 1200 * ms, data: list}},
			"a refusal":                       {{after: 1200 * ms, data: []byte{0x7F, 0x19, 0x31}}},
			"a word of patience, then a list": {{after: 1200 * ms, data: []byte{0x7F, 0x19, 0x78}}, {after: 1250 * ms, data: list}},
		}
		for name, events := range late {
			m := newModule(func(n int, _ []byte) []event {
				if n == 1 {
					return events
				}
				return []event{{after: 100 * ms, data: []byte{0x59, 0x02, 0x7F}}}
			})
			c := uds.New(m, charging, uds.Options{Tries: 1})
			if _, err := c.CodesByStatus(t.Context(), 0xFF); !errors.Is(err, uds.ErrNoAnswer) {
				t.Fatal(err)
			}
			if l, err := c.CodesByStatus(t.Context(), 0xAF); err != nil || l.Availability != 0x7F {
				t.Errorf("%s: %+v, %v", name, l, err)
			}
		}
		m := newModule(func(n int, _ []byte) []event {
			if n == 1 {
				return nil
			}
			return []event{{data: []byte{0x62, 0xF1, 0x90, 'V'}}}
		})
		c := uds.New(m, charging, uds.Options{Tries: 1})
		if _, err := c.CodesByStatus(t.Context(), 0xFF); !errors.Is(err, uds.ErrNoAnswer) {
			t.Fatal(err)
		}
		begun := time.Now()
		if _, err := c.ReadData(t.Context(), 0xF190); err != nil || time.Since(begun) != 0 {
			t.Errorf("another service: %v after %v", err, time.Since(begun))
		}
	})
}

// The same when the first request was given up by its owner.
func TestLateAnswerOfAStoppedRequest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(n int, _ []byte) []event {
			if n == 1 {
				return []event{{after: 60 * ms, data: []byte{0x59, 0x02, 0xFF, 1, 2, 3, 4}}}
			}
			return []event{{after: 10 * ms, data: []byte{0x59, 0x02, 0x7F}}}
		})
		c := client(m)
		ctx, cancel := context.WithTimeout(t.Context(), 50*ms)
		defer cancel()
		if _, err := c.CodesByStatus(ctx, 0xFF); !errors.Is(err, context.DeadlineExceeded) {
			t.Fatal(err)
		}
		if l, err := c.CodesByStatus(t.Context(), 0xAF); err != nil || l.Availability != 0x7F {
			t.Errorf("%+v, %v", l, err)
		}
	})
}

// What a report repeats of its question tells its answer from that of another question (ISO 14229-1 clause 12.3).
func TestEchoes(t *testing.T) {
	code := dtc.From3(0x0A, 0x08, 0x13)
	for _, c := range []struct {
		q           uds.CodesRequest
		other, mine []byte
	}{
		{uds.CodesRequest{Report: uds.ReportStored, Record: 2}, []byte{0x59, 0x05, 1}, []byte{0x59, 0x05, 2}},
		{uds.CodesRequest{Report: uds.ReportExtendedByNumber, Record: 2}, []byte{0x59, 0x16, 1}, []byte{0x59, 0x16, 2}},
		{uds.CodesRequest{Report: uds.ReportSupportingExtended, Record: 2}, []byte{0x59, 0x1A, 0xFF, 1}, []byte{0x59, 0x1A, 0xFF, 2}},
		{uds.CodesRequest{Report: uds.ReportMemory, Status: 0xFF, Memory: 2}, []byte{0x59, 0x17, 1, 0xFF}, []byte{0x59, 0x17, 2, 0xFF}},
		{uds.CodesRequest{Report: uds.ReportMemorySnapshots, Code: code, Record: 0xFF, Memory: 2}, []byte{0x59, 0x18, 2, 0x0A, 0x08, 0x14, 0}, []byte{0x59, 0x18, 2, 0x0A, 0x08, 0x13, 0}},
		{uds.CodesRequest{Report: uds.ReportGroup, Group: 0x33}, []byte{0x59, 0x42, 0xD0, 0xFF, 0xFF, 4}, []byte{0x59, 0x42, 0x33, 0xFF, 0xFF, 4}},
		{uds.CodesRequest{Report: uds.ReportGroupReadiness, Group: 0x33, Readiness: 7}, []byte{0x59, 0x56, 0x33, 0xFF, 4, 8}, []byte{0x59, 0x56, 0x33, 0xFF, 4, 7}},
	} {
		synctest.Test(t, func(t *testing.T) {
			request, err := c.q.Bytes()
			if err != nil {
				t.Fatal(err)
			}
			m := newModule(func(int, []byte) []event { return []event{{after: ms, data: c.other}, {after: 2 * ms, data: c.mine}} })
			if got, err := client(m).Do(t.Context(), request); err != nil || !bytes.Equal(got, c.mine) {
				t.Errorf("%X was answered by %X, %v", request, got, err)
			}
		})
	}
	if _, err := (uds.CodesRequest{Report: 0x1B}).Bytes(); err == nil {
		t.Error("19 1B was made")
	}
}
