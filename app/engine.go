package app

import (
	"context"
	"io"
	"iter"
	"time"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/explain"
	"readback/diag/garage"
	"readback/diag/gate"
	"readback/diag/link"
	"readback/diag/trace"
)

// Visit is what the window needs of a visit to a car; [*diag.Visit] is one.
type Visit interface {
	Close() error
	Place() adapter.Place
	Adapter() adapter.Abilities
	Supply(ctx context.Context) (volts float64, ok bool)
	Health(ctx context.Context) (h diag.Health, ok bool, err error)
	// LinkTest takes the last two steps of the link test, which ask the car.
	LinkTest(ctx context.Context, tell func(adapter.Rung)) error
	// Wait returns why the connection to the adapter has ended, once it has.
	Wait(ctx context.Context) error
	// SetSupplyOffset corrects the adapter's voltmeter by volts; ok is false where there is nothing to correct.
	SetSupplyOffset(volts float64) (ok bool)
	// SupplyReadings are what the adapter has measured by itself; ok is false where it does not.
	SupplyReadings() (readings []adapter.SupplyReading, ok bool)
	Tally() diag.Tally
	// Since is what went over the wire after the entry with a number, and the number of the newest.
	Since(seq uint64) ([]trace.Entry, uint64)
	Look(ctx context.Context, carName string) iter.Seq2[diag.Progress, error]
	// Meet finds out which car it is without reading it; Offered are the live values that there are, Watch reads them.
	Meet(ctx context.Context, carName string) (known bool, err error)
	AddIdentifier(id uint16) error
	Offered(ctx context.Context) ([]diag.LiveValue, error)
	Watch(ctx context.Context, values []diag.LiveKey) iter.Seq2[diag.Sample, error]
	Car() garage.Car
	Record() (garage.Visit, bool)
	Modules() []diag.ModuleView
	Patterns() []diag.Pattern
	Explain(text string, wish explain.Wish) explain.Explanation
	Compare(a, b string) explain.Comparison
	// Filler is what a request to a module is filled up with.
	Filler(a link.Address) byte
	Measure(ctx context.Context) error
	Say(k gate.Key)
	Unsay(k gate.Key)
	SayBack(words string)
	Latches(e explain.Explanation) []gate.Latch
	Send(ctx context.Context, e explain.Explanation) iter.Seq2[diag.SendStep, error]
	Result() *diag.Result
}

// Logbook is what the window needs of the store of cars; [*garage.Store] is one.
type Logbook interface {
	Car(ctx context.Context, id int64) (garage.Car, error)
	PutCar(ctx context.Context, c garage.Car) (garage.Car, error)
	Cars(ctx context.Context) ([]garage.Car, error)
	Visits(ctx context.Context, carID int64) ([]garage.Summary, error)
	Visit(ctx context.Context, id int64) (garage.Visit, error)
	CodeHistory(ctx context.Context, carID int64) (garage.History, error)
	Journal(ctx context.Context, carID int64) ([]garage.Entry, error)
	Proof(ctx context.Context, entryID int64) ([]garage.ProofStep, error)
	DueProof(ctx context.Context, now time.Time) ([]garage.ProofStep, error)
	ProofDone(ctx context.Context, id, visitID int64, at time.Time) error
	LeaveProof(ctx context.Context, id int64) error
	Reports(ctx context.Context, carID int64) ([]garage.Report, error)
	Recordings(ctx context.Context, carID int64) ([]garage.Recording, error)
	RecordingPath(r garage.Recording) string
	Unknown(ctx context.Context) ([]garage.Entry, error)
	MarkSeen(ctx context.Context, id int64) error
	Cards(ctx context.Context, carID int64) ([]garage.Card, error)
	PutCard(ctx context.Context, carID int64, c garage.Card) (garage.Card, error)
	RemoveCard(ctx context.Context, id int64) error
	Meter(ctx context.Context, carID int64) ([]garage.MeterReading, error)
	PutMeter(ctx context.Context, carID int64, readings []garage.MeterReading) error
	Identifiers(ctx context.Context, carID int64) ([]uint16, error)
	PutIdentifiers(ctx context.Context, carID int64, ids []uint16, at time.Time) error
	Wiring(ctx context.Context, carID int64) (string, error)
	PutWiring(ctx context.Context, carID int64, wiring string, at time.Time) error
	Offset(ctx context.Context, place string) (volts float64, ok bool, err error)
	PutOffset(ctx context.Context, place string, volts float64, at time.Time) error
	Notes(ctx context.Context, carID int64) ([]garage.Note, error)
	PutNote(ctx context.Context, carID int64, code string, n garage.Note) (garage.Note, error)
	BackUp(ctx context.Context, w io.Writer) (garage.BackedUp, error)
	ExportCar(ctx context.Context, carID int64, w io.Writer) (garage.Exported, error)
	ImportCar(ctx context.Context, r io.ReaderAt, size int64) (garage.Imported, error)
}

// Engine is what stands behind the window.
type Engine struct {
	// Find lists the adapters that might be used, the likeliest first.
	Find func(context.Context) ([]adapter.Found, error)
	// Watch yields the list again whenever it has changed; nil where nothing is watched.
	Watch func(context.Context) iter.Seq2[diag.Seen, error]
	// Open begins a visit at a place.
	// tell is told the steps of the link test, on the goroutine of Open.
	Open func(ctx context.Context, p adapter.Place, tell func(adapter.Rung)) (Visit, error)
	// Explain and Compare work without a car.
	Explain func(text string, wish explain.Wish) explain.Explanation
	Compare func(a, b string) explain.Comparison
	// Preview and WriteReport make the report of a visit; nil without a logbook.
	Preview     func(ctx context.Context, visit int64, o diag.ReportOptions) (diag.Preview, error)
	WriteReport func(ctx context.Context, visit int64, path string, o diag.ReportOptions) (garage.Report, error)
	// Log is the store of cars.
	Log Logbook
	// Trouble, when not nil, is something that the owner has to know from the start.
	Trouble error
}
