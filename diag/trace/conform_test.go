package trace_test

import (
	"testing"
	"time"

	"readback/diag/bus"
	"readback/diag/bus/bustest"
	"readback/diag/link"
	"readback/diag/link/linktest"
	"readback/diag/trace"
)

// A traced Bus and a traced Link keep the contracts of their seams.

func TestBusConforms(t *testing.T) {
	bustest.Conform(t, func(testing.TB) (under, peer bus.Bus) {
		under, peer = bus.Pair()
		return trace.WrapBus(under, trace.NewRecorder(time.Now)), peer
	})
}

func TestLinkConforms(t *testing.T) {
	linktest.ConformInBubble(t, func(testing.TB) (link.Link, linktest.Peer) {
		l, peer := linktest.Memory()
		return trace.WrapLink(l, trace.NewRecorder(time.Now)), peer
	})
}
