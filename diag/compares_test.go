package diag

import (
	"testing"

	"readback/diag/garage"
	"readback/diag/link"
)

// TestComparesTo: a list says nothing of the one before it when a module was not seen, its list not read, or its service another.
func TestComparesTo(t *testing.T) {
	at, other := link.Physical(link.ID11(0x7E0), link.ID11(0x7E8)), link.Physical(link.ID11(0x7E1), link.ID11(0x7E9))
	before := []garage.Module{{Address: at, Protocol: "UDS", CodesRead: garage.Yes}}
	for name, c := range map[string]struct {
		is   garage.Module
		want bool
	}{
		"the same":        {garage.Module{Address: at, Protocol: "UDS", CodesRead: garage.Yes}, true},
		"not seen before": {garage.Module{Address: other, Protocol: "UDS", CodesRead: garage.Yes}, false},
		"silent":          {garage.Module{Address: at, Protocol: "UDS", CodesRead: garage.Silent}, false},
		"damaged":         {garage.Module{Address: at, Protocol: "UDS", CodesRead: garage.Damaged}, false},
		"older services":  {garage.Module{Address: at, Protocol: "OBD", CodesRead: garage.Yes}, false},
	} {
		if got := comparesTo(before, c.is); got != c.want {
			t.Errorf("%s: %t", name, got)
		}
	}
}
