package explain

// marginRow is what the margin says of one kind of request. It holds for sub-functions from..to, or for the whole service
// where to is none. sure is "" where the usual sentence is right.
type marginRow struct {
	id       byte
	from, to int
	lost     []string
	cannot   []string
	sure     string
}

const (
	sureStandard = "The form of the request is set by the standard, so this is known for every module that follows it."
	sureOwn      = "The form of the request is set by the standard. The numbers in it are the maker's own, so their meaning is not known here."
	sureClear    = "The form of the request is set by the standard. Makers differ in whether learnt values of idle, gearbox or windows are kept."
	sureNever    = "The standard names this kind of request. What it would do in this car only its maker knows."
	sureKind     = "The standard names this kind of request. Nothing here rests on a guess about your car."
)

const (
	changesNothing = "It changes nothing in the car."
	repairsNothing = "It repairs nothing."
	erasesNothing  = "It erases no codes."
	noSettings     = "It changes no settings and no software."
	clueOnly       = "A code is a clue, not a verdict on a part: it does not say what is broken."
	noCopy         = "The value that was there before. Nobody keeps a copy for you."
	noSoftware     = "The software that was there, when the work stops half-way. The module may be of no use then."
	notWithoutKey  = "It opens nothing without the right key, which only the maker has."
)

// margins: facts of the standards, effects as common practice has them (no published source).
var margins = []marginRow{
	{0x01, 0, none, nil, []string{changesNothing, "It tells how things are now, not how they were when a code was stored."}, ""},
	{0x02, 0, none, nil, []string{changesNothing, "It tells one moment only: when the code was stored."}, ""},
	{0x03, 0, none, nil, []string{changesNothing, clueOnly, "It tells only codes of the emissions part. Brakes and airbags have their own."}, ""},
	{0x05, 0, none, nil, []string{changesNothing}, ""},
	{0x06, 0, none, nil, []string{changesNothing, "It tells no result for a test that has not run since the clear."}, ""},
	{0x07, 0, none, nil, []string{changesNothing, "A pending code is not confirmed: it may go by itself."}, ""},
	{0x08, 0, none, nil, []string{"It finds no fault by itself."}, sureNever},
	{0x09, 0, none, nil, []string{changesNothing, "The VIN names your car and so you. Hide it before you share this."}, ""},
	{0x0A, 0, none, nil, []string{changesNothing, "Nobody can erase a permanent code by a request. The module does it after good trips."}, ""},

	{0x10, 0x01, 0x01, nil, []string{repairsNothing, erasesNothing}, ""},
	{0x10, 0x02, 0x02, []string{"The module's work, as long as it waits for software. The car may not start."}, []string{repairsNothing, "It brings no software by itself."}, sureKind},
	{0x10, 0x03, 0x03, []string{"Helper functions of that module, until the mode ends by itself about 5 s after the last request."},
		[]string{repairsNothing, erasesNothing, "It unlocks nothing."}, ""},
	{0x10, 0x04, 0x04, []string{"The normal work of a safety system."}, []string{repairsNothing, "It is only for scrapping airbags."}, sureKind},
	{0x10, 0x40, 0x7E, nil, []string{"Nobody can tell here what it does or how it ends."}, sureOwn},
	{0x11, 0x01, 0x03, []string{"The module's function for some seconds: it may be brakes, steering or light.", "What it had not stored yet."},
		[]string{repairsNothing, "Switching off, locking and waiting five minutes does the same without a request."}, ""},
	{0x11, 0x04, 0x05, []string{"The module's orderly end: it may switch off at once."}, []string{repairsNothing}, sureKind},
	{0x12, 0, none, nil, []string{changesNothing, "It tells one moment only: when the code was stored."}, ""},
	{0x13, 0, none, nil, []string{changesNothing, clueOnly}, ""},
	{0x17, 0, none, nil, []string{changesNothing, clueOnly}, ""},
	{0x18, 0, none, nil, []string{changesNothing, clueOnly, "The state of a code says less in the older standard than in the newer one."}, ""},
	{0x19, 0x01, 0x01, nil, []string{changesNothing, "It tells how many, not which."}, ""},
	{0x19, 0x0A, 0x0A, nil, []string{changesNothing, "A code in this list need not be stored: it is what the module can store."}, ""},
	{0x19, 0x03, 0x06, nil, []string{changesNothing, "Values kept with a code may be in the maker's own form. They stay as bytes then."}, ""},
	{0x19, 0x14, 0x14, nil, []string{changesNothing, "A counter below 127 is no fault yet."}, ""},
	{0x19, 0, none, nil, []string{changesNothing, clueOnly}, ""},
	{0x1A, 0, none, nil, []string{changesNothing, "Serial numbers and the VIN name your car. Hide them before you share this."}, ""},
	{0x20, 0, none, nil, []string{repairsNothing, erasesNothing}, ""},
	{0x21, 0, none, nil, []string{"It writes nothing."}, ""},
	{0x22, 0, none, nil, []string{"It writes nothing.", "Serial numbers and the VIN name your car. Hide them before you share this."}, ""},
	{0x23, 0, none, nil, []string{"It writes nothing.", "The bytes have no meaning without the maker's plan of the memory."}, sureOwn},
	{0x24, 0, none, nil, []string{changesNothing, "It tells how to read a value, not the value."}, ""},
	{0x26, 0, none, []string{"Room on the line, as long as the values are repeated."}, []string{repairsNothing}, sureNever},
	{0x27, 0, none, []string{"Time: after wrong keys the module stays locked for minutes or hours."}, []string{notWithoutKey}, sureNever},
	{0x28, 0x00, 0x00, nil, []string{"It undoes a silence only. If nobody silenced the module, it does nothing.", erasesNothing}, ""},
	{0x28, 0x01, 0x05, []string{"The module's messages to the others. They store codes about it and may switch functions off."}, []string{repairsNothing}, sureKind},
	{0x29, 0, none, nil, []string{notWithoutKey}, sureNever},
	{0x2A, 0, none, []string{"Room on the line, until the module is told to stop or restarts."}, []string{"It writes nothing."}, sureOwn},
	{0x2C, 0, none, []string{"A list of that number, when a tester had made one."}, []string{"It writes nothing that outlives a restart."}, sureOwn},
	{0x2E, 0, none, []string{noCopy}, []string{"It can't be undone by this program.", repairsNothing}, sureNever},
	{0x2F, 0, none, []string{"Control of that part for a while: it moves, heats, locks or switches at once."}, []string{"It does not check whether a hand is in the way.", repairsNothing}, sureNever},
	{0x30, 0, none, []string{"Control of that part for a while: it moves, heats, locks or switches at once."}, []string{"It does not check whether a hand is in the way.", repairsNothing}, sureNever},
	{0x31, 0x03, 0x03, nil, []string{"Without the job before it there is no result.", changesNothing}, sureOwn},
	{0x31, 0, none, []string{"What the job erases or sets anew: that may be learnt values, keys or calibrations."}, []string{"It can't be undone by this program."}, sureNever},
	{0x32, 0, none, []string{"The rest of a job that is under way. It may end half-done."}, []string{repairsNothing}, sureNever},
	{0x33, 0, none, nil, []string{"Without the job before it there is no result."}, sureNever},
	{0x34, 0, none, []string{noSoftware}, []string{"It brings no software that fits your car.", repairsNothing}, sureNever},
	{0x35, 0, none, nil, []string{"The bytes have no use without the maker's tools."}, sureNever},
	{0x36, 0, none, []string{noSoftware}, []string{repairsNothing}, sureNever},
	{0x37, 0, none, []string{noSoftware}, []string{repairsNothing}, sureNever},
	{0x38, 0, none, []string{"A file that is replaced or deleted."}, []string{"It can't be undone by this program."}, sureNever},
	{0x39, 0, none, []string{"The rest of a job that is under way. It may end half-done."}, []string{repairsNothing}, sureNever},
	{0x3A, 0, none, nil, []string{"Without the job before it there is no result."}, sureNever},
	{0x3B, 0, none, []string{noCopy}, []string{"It can't be undone by this program.", repairsNothing}, sureNever},
	{0x3D, 0, none, []string{noCopy}, []string{"It can't be undone by this program.", repairsNothing}, sureNever},
	{0x3E, 0, none, nil, []string{changesNothing, "It keeps modules awake: sent for hours it empties the 12 V battery."}, ""},
	{0x81, 0, none, nil, []string{"It has no use on this line."}, sureKind},
	{0x82, 0, none, nil, []string{"It has no use on this line."}, sureKind},
	{0x83, 0, none, []string{"The agreed timing. Module and tester may no longer understand each other."}, []string{repairsNothing}, sureKind},
	{0x84, 0, none, nil, []string{"Nobody can read what is in it."}, sureNever},
	{0x85, 0x01, 0x01, nil, []string{"It brings back no code that was not stored in the meantime.", erasesNothing}, ""},
	{0x85, 0x02, 0x02, []string{"Every fault that happens while the storing is off. Nobody will know of it."}, []string{repairsNothing, erasesNothing}, sureKind},
	{0x86, 0, none, []string{"Quiet on the line: the module speaks unasked, some even after switching off."}, []string{repairsNothing}, sureNever},
	{0x87, 0, none, []string{"The connection of every module on that line."}, []string{repairsNothing}, sureKind},
}

// marginOf finds the row of a request, the narrowest first.
func marginOf(id byte, sub int) *marginRow {
	for i := range margins {
		if r := &margins[i]; r.id == id && (r.to == none || sub >= r.from && sub <= r.to) {
			return r
		}
	}
	return nil
}
