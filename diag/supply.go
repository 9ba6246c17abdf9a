package diag

import (
	"context"

	"readback/diag/adapter"
)

// SetSupplyOffset sets the volts that are added to what the adapter's voltmeter shows, from now on and to the readings kept.
// ok is false where the adapter has no voltmeter that can be off.
func (v *Visit) SetSupplyOffset(volts float64) (ok bool) {
	w, ok := v.conn.(adapter.SupplyWatch)
	if ok {
		w.SetSupplyOffset(volts)
	}
	return ok
}

// SupplyReadings are the newest readings of the supply, the oldest first, with the offset added. Asking for them says
// nothing to the adapter. ok is false where it does not measure by itself.
func (v *Visit) SupplyReadings() (readings []adapter.SupplyReading, ok bool) {
	w, ok := v.conn.(adapter.SupplyWatch)
	if !ok {
		return nil, false
	}
	return w.SupplyReadings(), true
}

// Wait returns why the connection to the adapter has ended, once it has: an error that wraps [link.ErrGone], or
// [link.ErrClosed] after Close. It returns ctx.Err() when the context ends first.
func (v *Visit) Wait(ctx context.Context) error { return v.router.Wait(ctx) }
