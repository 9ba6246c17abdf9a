package diag

import (
	"context"

	"readback/diag/garage"
)

// Meet finds out which car this is without reading it: it listens, asks all modules at once for the identification
// number, and takes up the car's last record from the store. known is false for a car that has never been read. A car
// whose modules are silent to that question is recognised by carName, or as the car that was last read at this place.
func (v *Visit) Meet(ctx context.Context, carName string) (known bool, err error) {
	v.busy.Lock()
	defer v.busy.Unlock()
	quiet := func(Progress) {}
	if err := v.listen(ctx, quiet); err != nil {
		return false, err
	}
	if err := v.maySend(ctx); err != nil {
		return false, err
	}
	_, number, _, err := v.ask(ctx, quiet)
	if err != nil {
		return false, err
	}
	if number == "" && carName == "" {
		carName, err = v.lastHere(ctx)
		if err != nil {
			return false, err
		}
	}
	if _, err := v.recall(ctx, carName, number); err != nil {
		return false, err
	}
	car := v.Car()
	if car.ID == 0 {
		return false, nil
	}
	last, ok, err := v.opt.Store.LastVisit(ctx, car.ID)
	if err != nil || !ok {
		return false, err
	}
	v.mu.Lock()
	v.last = &last
	v.mu.Unlock()
	return true, nil
}

// lastHere is the name of the car that was last read at this place, "" when none was.
func (v *Visit) lastHere(ctx context.Context) (string, error) {
	cars, err := v.opt.Store.Cars(ctx)
	if err != nil {
		return "", err
	}
	for _, c := range cars {
		if c.Place == string(v.opt.Place) && c.Practice == v.conn.Abilities().Practice {
			return c.Name, nil
		}
	}
	return "", nil
}

// settled marks the open questions of a car as answered: it has been read again, completely.
func (v *Visit) settled(ctx context.Context, rec garage.Visit) error {
	if !rec.Complete {
		return nil
	}
	open, err := v.opt.Store.Unknown(ctx)
	if err != nil {
		return err
	}
	for _, e := range open {
		if e.CarID != rec.CarID || e.Begun.After(rec.Begun) {
			continue
		}
		if err := v.opt.Store.LinkReadBack(ctx, e.ID, rec.ID); err != nil {
			return err
		}
		if err := v.opt.Store.MarkSeen(ctx, e.ID); err != nil {
			return err
		}
	}
	return nil
}
