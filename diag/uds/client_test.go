package uds_test

import (
	"bytes"
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/dtc"
	"readback/diag/link"
	"readback/diag/pause"
	"readback/diag/uds"
)

const ms = time.Millisecond

func client(m *module) *uds.Client { return uds.New(m, charging, uds.Options{}) }

func TestAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := answers(0x62, 0xF1, 0x97, 'C', 'H', 'G')
		got, err := client(m).ReadData(t.Context(), 0xF197)
		if err != nil || string(got) != "CHG" {
			t.Errorf("ReadData: %q, %v", got, err)
		}
		if x := m.sent[0]; !bytes.Equal(x.Data, []byte{0x22, 0xF1, 0x97}) || x.Address != charging || x.Wait != 150*ms || x.Exact != nil {
			t.Errorf("sent %+v", x)
		}
	})
}

// "7F 14 78" twice, then 54: the answer is 54 (names of tshark and py-uds). It is sent once.
func TestPending(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(int, []byte) []event {
			return []event{{after: 20 * ms, data: []byte{0x7F, 0x14, 0x78}}, {after: 4 * time.Second, data: []byte{0x7F, 0x14, 0x78}}, {after: 8 * time.Second, data: []byte{0x54}}}
		})
		var got [][]byte
		for x, err := range client(m).Answers(t.Context(), uds.ClearRequest(uds.GroupAll)) {
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, x.Data)
		}
		if len(got) != 3 || !bytes.Equal(got[2], []byte{0x54}) || m.requests() != 1 {
			t.Errorf("%X after %d requests", got, m.requests())
		}
		if want := []byte{0x14, 0xFF, 0xFF, 0xFF}; !bytes.Equal(m.sent[0].Data, want) {
			t.Errorf("sent %X", m.sent[0].Data)
		}
	})
}

func TestPendingForEver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(int, []byte) []event {
			var e []event
			for i := range 40 { // the first at once, then one every four seconds
				e = append(e, event{after: time.Duration(i)*4*time.Second + ms, data: []byte{0x7F, 0x14, 0x78}})
			}
			return e
		})
		begun := time.Now()
		_, err := client(m).Do(t.Context(), uds.ClearRequest(uds.GroupAll))
		if !errors.Is(err, uds.ErrNoAnswer) || time.Since(begun) != time.Minute {
			t.Errorf("%v after %v", err, time.Since(begun))
		}
		if m.requests() != 1 {
			t.Errorf("%d requests", m.requests())
		}
	})
}

func TestPendingThenSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(int, []byte) []event { return []event{{after: 20 * ms, data: []byte{0x7F, 0x14, 0x78}}} })
		begun := time.Now()
		_, err := client(m).Do(t.Context(), uds.ClearRequest(uds.GroupAll))
		if !errors.Is(err, uds.ErrNoAnswer) || time.Since(begun) != 5020*ms {
			t.Errorf("%v after %v", err, time.Since(begun))
		}
	})
}

// An act is sent once, whatever happens; a read twice.
func TestSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(int, []byte) []event { return nil })
		begun := time.Now()
		_, err := client(m).Do(t.Context(), uds.ClearRequest(uds.GroupAll))
		if !errors.Is(err, uds.ErrNoAnswer) || m.requests() != 1 || time.Since(begun) != 150*ms || err.Error() != "uds: no answer to service 14 within 150ms" {
			t.Errorf("Do: %v after %v and %d requests", err, time.Since(begun), m.requests())
		}
		var refused *uds.NegativeError
		if errors.As(err, &refused) {
			t.Error("silence counts as a refusal")
		}
		begun = time.Now()
		if err := client(m).TesterPresent(t.Context()); !errors.Is(err, uds.ErrNoAnswer) || m.requests() != 3 || time.Since(begun) != 300*ms {
			t.Errorf("TesterPresent: %v after %v and %d requests", err, time.Since(begun), m.requests()-1)
		}
	})
}

// An adapter that waits by itself says when nothing came: that ends the wait at once.
func TestSilenceOfTheAdapter(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		silence := &link.SilenceError{Address: charging, Text: "NO DATA"}
		m := newModule(func(int, []byte) []event { return []event{{after: 10 * ms, err: silence}} })
		begun := time.Now()
		_, err := client(m).CodesByStatus(t.Context(), 0xFF)
		if !errors.Is(err, uds.ErrNoAnswer) || time.Since(begun) != 20*ms || m.requests() != 2 {
			t.Errorf("%v after %v and %d requests", err, time.Since(begun), m.requests())
		}

		m = newModule(func(int, []byte) []event {
			return []event{{after: 10 * ms, data: []byte{0x7F, 0x14, 0x78}}, {after: 20 * ms, err: silence}, {after: 900 * ms, data: []byte{0x54}}}
		})
		if a, err := client(m).Do(t.Context(), uds.ClearRequest(uds.GroupAll)); err != nil || !bytes.Equal(a, []byte{0x54}) {
			t.Errorf("after a word of patience: %X, %v", a, err)
		}

		m = newModule(func(n int, _ []byte) []event {
			if n == 1 {
				return []event{{after: 10 * ms, err: silence}}
			}
			return []event{{after: 10 * ms, data: []byte{0x59, 0x02, 0xFF}}}
		})
		c := uds.New(m, charging, uds.Options{Tries: 1})
		begun = time.Now()
		_, err = c.CodesByStatus(t.Context(), 0xFF)
		_, next := c.CodesByStatus(t.Context(), 0xAF)
		if !errors.Is(err, uds.ErrNoAnswer) || next != nil || time.Since(begun) != 20*ms {
			t.Errorf("%v; then %v, after %v: an answer is waited for that does not come any more", err, next, time.Since(begun))
		}
	})
}

// A late answer to an earlier request, or the adapter's late word about it, is not taken for this one's.
func TestLeftovers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(n int, _ []byte) []event {
			if n == 1 {
				return []event{{after: 155 * ms, err: &link.SilenceError{Address: charging, Text: "NO DATA"}}}
			}
			return []event{{after: 20 * ms, data: []byte{0x7E, 0x00}}}
		})
		c := client(m)
		if _, err := c.Do(t.Context(), []byte{0x3E, 0x00}); !errors.Is(err, uds.ErrNoAnswer) {
			t.Fatal(err)
		}
		if err := pause.For(t.Context(), 10*ms); err != nil {
			t.Fatal(err)
		}
		if _, err := c.Do(t.Context(), []byte{0x3E, 0x00}); err != nil {
			t.Errorf("the word about the first request ended the second: %v", err)
		}
	})
}

// A request that the Link does not take is an error, and no answer.
func TestNotSent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(nil)
		m.Close()
		if a, err := client(m).Do(t.Context(), []byte{0x3E, 0x00}); a != nil || !errors.Is(err, link.ErrClosed) {
			t.Errorf("%X, %v", a, err)
		}
		if a, err := client(answers(0x7E, 0x00)).Do(t.Context(), nil); a != nil || err == nil {
			t.Errorf("nothing was asked: %X, %v", a, err)
		}
	})
}

// A request whose answer is still owed is given another P2 before one that its answer could be taken for: one of the same
// service. A refusal names the service only.
func TestLateAnswerIsWaitedFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for _, c := range []struct {
			name   string
			second []byte
			late   []byte // comes 250 ms after the first request
			sent   time.Duration
		}{
			{"another identifier, and silence", []byte{0x22, 0xF1, 0x91}, nil, 300 * ms},
			{"another identifier, and the late refusal", []byte{0x22, 0xF1, 0x91}, []byte{0x7F, 0x22, 0x31}, 250 * ms},
			{"the same", []byte{0x22, 0xF1, 0x90}, nil, 150 * ms},
			{"another service", []byte{0x3E, 0x00}, nil, 150 * ms},
		} {
			var second time.Duration
			begun := time.Now()
			m := newModule(func(n int, request []byte) []event {
				if n == 1 {
					if c.late == nil {
						return nil
					}
					return []event{{after: 250 * ms, data: c.late}}
				}
				second = time.Since(begun)
				return []event{{after: ms, data: append([]byte{request[0] | 0x40}, request[1:]...)}}
			})
			x := uds.New(m, charging, uds.Options{Transfer: time.Nanosecond})
			if _, err := x.Do(t.Context(), []byte{0x22, 0xF1, 0x90}); !errors.Is(err, uds.ErrNoAnswer) {
				t.Fatal(err)
			}
			if _, err := x.Do(t.Context(), c.second); err != nil || second.Round(ms) != c.sent {
				t.Errorf("%s: %v, sent after %v, want %v", c.name, err, second, c.sent)
			}
		}
	})
}

// What came before anything was asked is dropped, whatever it says.
func TestUnasked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for _, early := range []event{{data: []byte{0x7F, 0x3E, 0x11}}, {data: []byte{0x7E, 0x00}}, {begun: 20}, {err: &link.SilenceError{Address: charging, Text: "NO DATA"}}} {
			m := answers(0x7E, 0x00)
			m.in <- early
			if err := client(m).TesterPresent(t.Context()); err != nil || m.requests() != 1 {
				t.Errorf("%+v: %v after %d requests", early, err, m.requests())
			}
		}
	})
}

// What belongs to another request gives a module that has asked for time no more of it.
func TestPendingAndForeign(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(int, []byte) []event {
			return []event{{after: 100 * ms, data: []byte{0x7F, 0x14, 0x78}}, {after: 3 * time.Second, data: []byte{0x7E, 0x00}}}
		})
		begun := time.Now()
		_, err := client(m).Do(t.Context(), uds.ClearRequest(uds.GroupAll))
		if took := time.Since(begun); !errors.Is(err, uds.ErrNoAnswer) || took != 5100*ms {
			t.Errorf("%v after %v", err, took)
		}
	})
}

// Any service can be refused, also one that the standard does not have: 3F, whose positive answer would begin like a refusal.
func TestUnknownServiceRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var refused *uds.NegativeError
		_, err := client(answers(0x7F, 0x3F, 0x11)).Do(t.Context(), []byte{0x3F})
		if !errors.As(err, &refused) || refused.Service != 0x3F || refused.Code != uds.ServiceNotSupported {
			t.Errorf("%v", err)
		}
	})
}

func TestRefusal(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := answers(0x7F, 0x14, 0x22)
		_, err := client(m).Do(t.Context(), uds.ClearRequest(uds.GroupEmissions))
		var refused *uds.NegativeError
		if !errors.As(err, &refused) || refused.Service != 0x14 || refused.Code != uds.ConditionsNotCorrect || errors.Is(err, uds.ErrNoAnswer) {
			t.Errorf("%v", err)
		}
		if refused.Text() == "" || refused.Code.Advice() == "" {
			t.Error("a refusal without words")
		}
		if m.requests() != 1 {
			t.Errorf("%d requests", m.requests())
		}
	})
}

// A busy module (NRC 21) is asked again after a second, three times; an act is not.
func TestBusy(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		busy := []event{{after: 10 * ms, data: []byte{0x7F, 0x19, 0x21}}}
		m := newModule(func(n int, _ []byte) []event {
			if n <= 3 {
				return busy
			}
			return []event{{data: []byte{0x59, 0x02, 0xFF}}}
		})
		begun := time.Now()
		l, err := client(m).CodesByStatus(t.Context(), 0xFF)
		if err != nil || len(l.Records) != 0 || l.Records == nil || m.requests() != 4 || time.Since(begun) != 3030*ms {
			t.Errorf("%v, %v after %v and %d requests", l, err, time.Since(begun), m.requests())
		}
		m = newModule(func(int, []byte) []event { return busy })
		_, err = client(m).CodesByStatus(t.Context(), 0xFF)
		var refused *uds.NegativeError
		if !errors.As(err, &refused) || refused.Code != uds.BusyRepeatRequest || m.requests() != 4 {
			t.Errorf("%v after %d requests", err, m.requests())
		}
		m = answers(0x7F, 0x14, 0x21)
		if _, err := client(m).Do(t.Context(), uds.ClearRequest(uds.GroupAll)); !errors.As(err, &refused) || m.requests() != 1 {
			t.Errorf("an act: %v after %d requests", err, m.requests())
		}
	})
}

func TestTorn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		torn := &link.TornError{Address: charging, Got: 13, Want: 40, Cause: errors.New("lost")}
		m := newModule(func(n int, _ []byte) []event {
			if n == 1 {
				return []event{{after: 10 * ms, err: torn}}
			}
			return []event{{data: []byte{0x59, 0x02, 0xFF, 0x0A, 0x08, 0x13, 0x2F}}}
		})
		if l, err := client(m).CodesByStatus(t.Context(), 0xFF); err != nil || len(l.Records) != 1 || m.requests() != 2 {
			t.Errorf("%v, %v after %d requests", l, err, m.requests())
		}
		m = newModule(func(int, []byte) []event { return []event{{err: torn}} })
		_, err := client(m).CodesByStatus(t.Context(), 0xFF)
		var got *link.TornError
		if !errors.As(err, &got) || got.Got != 13 || m.requests() != 3 {
			t.Errorf("%v after %d requests", err, m.requests())
		}
		// An adapter that breaks off is asked once more, one that tells of a damaged line as often as for a torn answer.
		for alert, times := range map[*link.AdapterError]int{{Text: "STOPPED"}: 2, {Text: "7ED 0", Damaged: true}: 3} {
			m = newModule(func(int, []byte) []event { return []event{{err: alert}} })
			if _, err := client(m).CodesByStatus(t.Context(), 0xFF); !errors.Is(err, alert) || m.requests() != times {
				t.Errorf("%s: %v after %d requests", alert.Text, err, m.requests())
			}
		}
		// What is not a reading is sent once whatever comes.
		spoilt := &link.AdapterError{Text: "7ED 0", Damaged: true}
		m = newModule(func(int, []byte) []event { return []event{{err: spoilt}} })
		if _, err := client(m).Do(t.Context(), uds.ClearRequest(uds.GroupAll)); !errors.Is(err, spoilt) || m.requests() != 1 {
			t.Errorf("an act: %v after %d requests", err, m.requests())
		}
	})
}

// Answers to other requests are not taken for this one's.
func TestOtherAnswers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(int, []byte) []event {
			var e []event
			for i, data := range [][]byte{{0x7E, 0x00}, {0x59, 0x0A, 0xFF}, {0x59, 0x0A}, {0x7F, 0x22, 0x31}, {0x41, 0x00}, {}, {0x62, 0xF1, 0x90}, {0x59, 0x02, 0x7F}} {
				e = append(e, event{after: time.Duration(i+1) * ms, data: data})
			}
			return e
		})
		l, err := client(m).CodesByStatus(t.Context(), 0xFF)
		if err != nil || l.Availability != 0x7F {
			t.Errorf("%v, %v", l, err)
		}
		m = newModule(func(int, []byte) []event {
			return []event{{after: ms, data: []byte{0x62, 0xF1, 0x91, 1}}, {after: 2 * ms, data: []byte{0x62, 0xF1, 0x90, 2}}}
		})
		if got, err := client(m).ReadData(t.Context(), 0xF190); err != nil || !bytes.Equal(got, []byte{2}) {
			t.Errorf("ReadData: %X, %v", got, err)
		}
		code := dtc.From3(0x0A, 0x08, 0x13)
		m = newModule(func(int, []byte) []event {
			return []event{{after: ms, data: []byte{0x59, 0x06, 0x0A, 0x08, 0x14, 0x2F, 1, 9}}, {after: 2 * ms, data: []byte{0x59, 0x06, 0x0A, 0x08, 0x13, 0x2F, 1, 7}}}
		})
		x, err := client(m).ExtendedData(t.Context(), code, 0xFF, func(byte) (int, bool) { return 1, true })
		if err != nil || len(x) != 1 || x[0].Data[0] != 7 {
			t.Errorf("ExtendedData: %v, %v", x, err)
		}
	})
}

// A whole answer may take longer than P2: its first frame came in time, the others follow.
func TestLongAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(int, []byte) []event { return []event{{after: 900 * ms, data: []byte{0x59, 0x02, 0xFF}}} })
		if _, err := client(m).CodesByStatus(t.Context(), 0xFF); err != nil || m.requests() != 1 {
			t.Errorf("%v after %d requests", err, m.requests())
		}
	})
}

// The delay of a serial or radio line is no silence of the module; the adapter is told the module's time alone.
func TestSlack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(int, []byte) []event { return []event{{after: 600 * ms, data: []byte{0x7E, 0x00}}} })
		c := uds.New(m, charging, uds.Options{Slack: time.Second})
		if err := c.TesterPresent(t.Context()); err != nil || m.requests() != 1 || m.sent[0].Wait != 150*ms {
			t.Errorf("%v after %d requests, wait %v", err, m.requests(), m.sent[0].Wait)
		}
		m = newModule(func(int, []byte) []event {
			return []event{{after: 600 * ms, data: []byte{0x7F, 0x14, 0x78}}, {after: 6500 * ms, data: []byte{0x54}}}
		})
		if _, err := uds.New(m, charging, uds.Options{Slack: time.Second}).Do(t.Context(), uds.ClearRequest(uds.GroupAll)); err != nil {
			t.Errorf("after a word of patience: %v", err)
		}
	})
}

func TestMalformed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var shape *uds.ShapeError
		for _, a := range [][]byte{{0x59}, {0x59, 0x02}, {0x59, 0x02, 0xFF, 1}, {0x59, 0x02, 0xFF, 1, 2, 3, 4, 5}, {0x7F, 0x19}} {
			if _, err := client(answers(a...)).CodesByStatus(t.Context(), 0xFF); !errors.As(err, &shape) || !bytes.Equal(shape.Bytes, a) {
				t.Errorf("% X: %v", a, err)
			}
		}
		if got, err := client(answers(0x62, 0xF1, 0x90, 0x31)).ReadData(t.Context(), 0xF190); err != nil || string(got) != "1" {
			t.Errorf("the shortest value: % X, %v", got, err)
		}
		for _, a := range [][]byte{{0x62}, {0x62, 0xF1}, {0x62, 0xF1, 0x90}} {
			if _, err := client(answers(a...)).ReadData(t.Context(), 0xF190); !errors.As(err, &shape) {
				t.Errorf("% X: %v", a, err)
			}
		}
		if _, err := client(answers(0x59, 0x09, 0xFF, 0x20, 0x10, 0x0A, 0x08, 0x14, 0x2F)).Severity(t.Context(), dtc.From3(0x0A, 0x08, 0x13)); !errors.Is(err, uds.ErrNoAnswer) {
			t.Errorf("the severity of another code: %v", err)
		}
	})
}

// The times of the answer are used from then on. The bytes are made up; a real module's are in the worked examples.
func TestSession(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(n int, _ []byte) []event {
			if n == 1 {
				return []event{{data: []byte{0x50, 0x03, 0x01, 0xF4, 0x02, 0x58}}}
			}
			return []event{{after: 590 * ms, data: []byte{0x7E, 0x00}}}
		})
		c := client(m)
		got, err := c.Session(t.Context(), uds.ExtendedSession)
		if want := (uds.Timing{P2: 500 * ms, P2Star: 6 * time.Second}); err != nil || got != want {
			t.Errorf("%v, %v", got, err)
		}
		if err := c.TesterPresent(t.Context()); err != nil {
			t.Errorf("the module's own P2 is not used: %v", err)
		}
	})
}

func TestContextAndClose(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(int, []byte) []event { return nil })
		ctx, cancel := context.WithTimeout(t.Context(), 50*ms)
		defer cancel()
		if _, err := client(m).CodesByStatus(ctx, 0xFF); !errors.Is(err, context.DeadlineExceeded) || m.requests() != 1 {
			t.Errorf("%v after %d requests", err, m.requests())
		}
		if _, err := client(m).Do(t.Context(), nil); err == nil {
			t.Error("an empty request was sent")
		}
		if _, err := client(m).Do(t.Context(), []byte{0x19}); !errors.Is(err, uds.ErrNoAnswer) {
			t.Errorf("a request without its report: %v", err)
		}
		m.Close()
		if err := client(m).TesterPresent(t.Context()); !errors.Is(err, link.ErrClosed) {
			t.Errorf("%v", err)
		}
	})
}

// A context that ends before a request can leave is its error: while another request is in the air, or while a late answer
// is waited for.
func TestContextEndsBeforeSending(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(int, []byte) []event { return nil })
		c := uds.New(m, charging, uds.Options{Tries: 1})
		first := make(chan error, 1)
		go func() {
			_, err := c.CodesByStatus(t.Context(), 0xFF)
			first <- err
		}()
		synctest.Wait()
		short := func() error {
			ctx, cancel := context.WithTimeout(t.Context(), 10*ms)
			defer cancel()
			_, err := c.CodesByStatus(ctx, 0xAF)
			return err
		}
		if err := short(); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("behind another request: %v", err)
		}
		if err := <-first; !errors.Is(err, uds.ErrNoAnswer) {
			t.Errorf("the other request: %v", err)
		}
		if err := short(); !errors.Is(err, context.DeadlineExceeded) || m.requests() != 1 {
			t.Errorf("behind a late answer: %v after %d requests", err, m.requests())
		}
	})
}

// Leaving the sequence early is no error and sends nothing more.
func TestLeaveEarly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := answers(0x7F, 0x14, 0x78)
		for _, err := range client(m).Answers(t.Context(), uds.ClearRequest(uds.GroupAll)) {
			if err != nil {
				t.Fatal(err)
			}
			break
		}
		if m.requests() != 1 {
			t.Errorf("%d requests", m.requests())
		}
	})
}

// The module leaves out an identifier that it does not know, here the first.
func TestReadSeveral(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := answers(0x62, 0xDD, 0x01, 109, 0xDD, 0x00, 0x00, 0xA0, 0xF6)
		size := func(id uint16) (int, bool) { return map[uint16]int{0xDD00: 3, 0xDD01: 1}[id], true }
		got, err := client(m).ReadSeveral(t.Context(), []uint16{0xDD02, 0xDD01, 0xDD00}, size)
		if err != nil || len(got) != 2 || got[0].Identifier != 0xDD01 || !bytes.Equal(got[1].Data, []byte{0x00, 0xA0, 0xF6}) {
			t.Errorf("%v, %v", got, err)
		}
		if want := []byte{0x22, 0xDD, 0x02, 0xDD, 0x01, 0xDD, 0x00}; !bytes.Equal(m.sent[0].Data, want) {
			t.Errorf("sent %X", m.sent[0].Data)
		}
		if got, err := uds.DecodeData([]byte{0x62, 0xDD, 0x01, 109}, size); err != nil || len(got) != 1 || !bytes.Equal(got[0].Data, []byte{109}) {
			t.Errorf("one byte: %v, %v", got, err)
		}
		var shape *uds.ShapeError
		for _, left := range [][]byte{{0xDD}, {0xDD, 0x00}, {0xDD, 0x00, 0x00, 0xA0}} {
			if got, err := uds.DecodeData(append([]byte{0x62, 0xDD, 0x01, 109}, left...), size); !errors.As(err, &shape) {
				t.Errorf("left over % X: %v, %v", left, got, err)
			}
		}
	})
}
