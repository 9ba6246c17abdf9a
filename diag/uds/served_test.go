package uds_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/bus"
	"readback/diag/dtc"
	"readback/diag/isotp"
	"readback/diag/link"
	"readback/diag/pause"
	"readback/diag/simcar"
	"readback/diag/uds"
)

// atTheCar runs a test against a module of the practice car, frame by frame. The car is written from the standard
// without this package.
func atTheCar(t *testing.T, a link.Address, test func(t *testing.T, c *uds.Client)) {
	synctest.Test(t, func(t *testing.T) {
		s, err := simcar.Load("courier")
		if err != nil {
			t.Fatal(err)
		}
		mine, cars := bus.Pair()
		ctx, stop := context.WithCancel(t.Context())
		served := make(chan error)
		go func() { served <- simcar.New(s).Serve(ctx, cars) }()
		r := link.NewRouter(isotp.New(mine, isotp.Options{TellBegun: true}))
		defer func() {
			if err := r.Close(); err != nil {
				t.Error(err)
			}
			stop()
			if err := <-served; err != nil {
				t.Error(err)
			}
		}()
		test(t, uds.New(r.Peer(a), a, uds.Options{}))
	})
}

// Every report type that the charging module of the practice car has; those that it lacks it refuses.
func TestReportsAtTheCar(t *testing.T) {
	atTheCar(t, charging, func(t *testing.T, c *uds.Client) {
		ctx := t.Context()
		lock, lost := dtc.From3(0x1D, 0x5A, 0x13), dtc.From3(0xC2, 0x93, 0x00)
		check := func(name string, got any, err error, want string) {
			t.Helper()
			if s := fmt.Sprintf("%v", got); err != nil || s != want {
				t.Errorf("%s: %s, %v, want %s", name, s, err, want)
			}
		}
		list := func(name string, l uds.CodeList, err error, want string) {
			t.Helper()
			check(name, listed(l.Records), err, want)
		}
		l, err := c.FirstFailed(ctx)
		list("first failed", l, err, "[[P1D5A-13 2F]]")
		l, err = c.FirstConfirmed(ctx)
		list("first confirmed", l, err, "[[P1D5A-13 2F]]")
		l, err = c.LastFailed(ctx)
		list("last failed", l, err, "[[P1D5A-13 2F]]")
		l, err = c.LastConfirmed(ctx)
		list("last confirmed", l, err, "[[P1D5A-13 2F]]")
		l, err = c.Mirror(ctx, 0xFF)
		list("mirror", l, err, "[[P1D5A-13 28]]")
		l, err = c.MemoryCodes(ctx, 0xFF, 0x15)
		list("memory", l, err, "[[U0293-00 28]]")
		l, err = c.Supporting(ctx, 0x01)
		check("supporting", len(l.Records), err, "4")

		n, err := c.CountMirror(ctx, 0xFF)
		check("mirror", n.Count, err, "1")
		n, err = c.CountBySeverity(ctx, uds.CheckAtNextHalt, 0xFF)
		check("by severity", n.Count, err, "1")
		rated, err := c.CodesBySeverity(ctx, uds.CheckAtNextHalt, 0xFF)
		check("by severity", rated.Records, err, "[{64 16 P1D5A-13 47}]")

		snaps, err := c.MemorySnapshots(ctx, lost, 0xFF, 0x15, sizes)
		check("memory", len(snaps), err, "1")
		stored, err := c.StoredData(ctx, 0x03, func(id uint16) (int, bool) {
			n, ok := map[uint16]int{0xDD00: 3, 0xDD01: 1, 0xDD02: 1, 0xDD03: 2}[id]
			return n, ok
		})
		check("stored", len(stored), err, "1")
		if len(stored) == 1 && (stored[0].Record != 3 || stored[0].Code != dtc.From3(0xC1, 0x40, 0x87) || len(stored[0].Data) != 4) {
			t.Errorf("stored: %+v", stored[0])
		}
		ext, err := c.MirrorExtended(ctx, lock, 0xFF, lengths)
		check("mirror", ext, err, "[{1 [9]} {2 [2]}]")
		ext, err = c.MemoryExtended(ctx, lost, 0x01, 0x15, lengths)
		check("memory", ext, err, "[{1 [2]}]")
		all, err := c.ExtendedByNumber(ctx, 0x01, lengths)
		check("extended of all", all[0], err, "{{P1D5A-13 47} [14]}")
		records, err := c.SnapshotRecords(ctx)
		check("snapshots", len(records), err, "4")

		var refused *uds.NegativeError
		if _, err := c.GroupCodes(ctx, 0x33, 0xFF, 0xFF); !errors.As(err, &refused) || refused.Code != uds.SubFunctionNotSupported {
			t.Errorf("19 42: %v", err)
		}
		if _, err := c.MemoryCodes(ctx, 0xFF, 0x16); !errors.As(err, &refused) || refused.Code != uds.RequestOutOfRange {
			t.Errorf("another memory: %v", err)
		}
	})
}

// The car tells how its values are to be read: 12.6 V and 7 °C.
func TestScalingAtTheCar(t *testing.T) {
	atTheCar(t, charging, func(t *testing.T, c *uds.Client) {
		for id, want := range map[uint16]string{0xDD01: "12.6 V", 0xDD02: "7.0 °C"} {
			scaling, err := c.Scaling(t.Context(), id)
			if err != nil {
				t.Fatal(err)
			}
			value, err := c.ReadData(t.Context(), id)
			y, unit, ok := uds.Number(scaling, value)
			if got := fmt.Sprintf("%.1f %s", y, unit); err != nil || !ok || got != want {
				t.Errorf("%04X: %s, %v, want %s", id, got, err, want)
			}
		}
	})
}

// A session of the practice car stays open while it is kept, and is the default one after it.
func TestSessionAtTheCar(t *testing.T) {
	atTheCar(t, charging, func(t *testing.T, c *uds.Client) {
		session := func(ctx context.Context) string {
			b, err := c.ReadData(ctx, 0xF186)
			if err != nil {
				t.Error(err)
			}
			return uds.PlateText(0xF186, b)
		}
		err := c.InSession(t.Context(), uds.ExtendedSession, func(ctx context.Context) error {
			err := pause.For(ctx, 30*time.Second)
			if got := session(ctx); got != "03 extendedDiagnosticSession" {
				t.Errorf("after half a minute: %s", got)
			}
			return err
		})
		if got := session(t.Context()); err != nil || got != "01 defaultSession" {
			t.Errorf("%v, then %s", err, got)
		}
	})
}
