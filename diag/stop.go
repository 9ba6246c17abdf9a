package diag

import (
	"context"
	"fmt"
)

// StopSendingError means that nothing more may be sent because of how the car's bus does ([Health]). Nothing was sent. A
// visit that is refused so may be tried again: it is judged anew each time, from what the adapter's controller tells now.
// Where nothing but a new connection can show that the cause is gone, [StopSendingError.Next] says so.
type StopSendingError struct {
	Verdict HealthVerdict
	Reason  string   // what was measured, in sentences
	Causes  []string // the likeliest first
	Next    string   // the one thing to do now
	Command string   // for a terminal, "" where none helps
}

func (e *StopSendingError) Error() string {
	return fmt.Sprintf("diag: nothing is sent, the bus is %s: %s", e.Verdict, e.Reason)
}

// sentence is the error for people.
func (e *StopSendingError) sentence() string {
	s := "Nothing was sent. " + e.Reason + " " + e.Next
	if e.Command != "" {
		s += " Type this into a terminal: " + e.Command
	}
	return s
}

// stopped is the [*StopSendingError] of a bus on which nothing more may be sent, else nil.
func (h Health) stopped() error {
	if !h.StopSending {
		return nil
	}
	return &StopSendingError{Verdict: h.Verdict, Reason: h.Text, Causes: h.Causes, Next: h.Next, Command: h.Command}
}

// maySend asks for the state of the car's bus before anything is begun that sends: nil where it may be begun, or where
// the adapter hides the bus.
func (v *Visit) maySend(ctx context.Context) error {
	h, _, err := v.Health(ctx)
	if err != nil {
		return fmt.Errorf("diag: asking for the state of the bus: %w", err)
	}
	return h.stopped()
}

// held is what the gate asks before each message: the same, without asking the adapter.
func (v *Visit) held() error {
	if v.meter == nil {
		return nil
	}
	return JudgeBus(v.meter.known()).stopped()
}
