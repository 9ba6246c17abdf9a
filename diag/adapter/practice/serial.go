package practice

import (
	"context"
	"io"
	"net"
	"sync"

	"readback/diag/adapter"
	"readback/diag/link"
	"readback/diag/simcar"
)

// Serial is what an open serial adapter offers.
type Serial interface {
	adapter.Messages
	adapter.SupplyWatch
	// Everyone is the address by which the protocol that was found asks all modules at once.
	Everyone() link.Address
	// Keyword reports a line of ISO 14230, on which a module is also asked alone.
	Keyword() bool
}

// OpenSerial opens a serial adapter at the other end of port, which it takes over.
type OpenSerial func(ctx context.Context, port io.ReadWriteCloser, p adapter.Place, o adapter.Options) (Serial, error)

// behind is a practice car behind a serial adapter.
type behind struct {
	Serial
	stop   context.CancelFunc
	served *sync.WaitGroup
}

func openSerial(ctx context.Context, car *simcar.Car, open OpenSerial, p adapter.Place, o adapter.Options) (adapter.Connection, error) {
	mine, cars := net.Pipe()
	b := &behind{served: &sync.WaitGroup{}}
	running, stop := context.WithCancel(context.Background())
	b.stop = stop
	b.served.Go(func() {
		// It ends with the context or with the port, and either way nobody is left to tell.
		_ = car.ServeSerial(running, cars, simcar.SerialOptions{})
	})
	s, err := open(ctx, mine, p, o)
	if err != nil {
		b.end()
		return nil, err
	}
	b.Serial = s
	return b, nil
}

// Abilities are the adapter's, marked as practice.
func (b *behind) Abilities() adapter.Abilities {
	a := b.Serial.Abilities()
	a.Practice = true
	return a
}

func (b *behind) end() {
	b.stop()
	b.served.Wait()
}

// Close closes the adapter and ends the car. It may be called more than once.
func (b *behind) Close() error {
	err := b.Serial.Close()
	b.end()
	return err
}
