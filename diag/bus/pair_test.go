package bus_test

import (
	"testing"

	"readback/diag/bus"
	"readback/diag/bus/bustest"
)

func TestPairConforms(t *testing.T) {
	bustest.Conform(t, func(testing.TB) (under, peer bus.Bus) { return bus.Pair() })
}
