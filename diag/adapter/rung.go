package adapter

// Rung is one step of the link test, as it is taken. Each step is told first as [RungTrying], more than once where it
// takes several tries, and then with what came of it.
type Rung struct {
	Step  Step
	State RungState
	Seen  string // what was seen or is being done, a sentence for people
	Err   error  // why, with RungFailed
}

// RungState is how a step of the link test stands.
type RungState string

const (
	RungTrying   RungState = "trying"
	RungHeld     RungState = "held"
	RungDoubtful RungState = "doubtful" // it went on, but what was seen is not as it should be
	RungUnknown  RungState = "unknown"  // it can't be seen: not asked, or silence, which may be right
	RungFailed   RungState = "failed"
)

// Further steps of the link test.
const (
	StepSupply Step = "supply" // the 12 V supply at the socket
	StepModule Step = "module" // a module answers
	StepLong   Step = "long"   // an answer of several frames arrives whole
)

// Steps are the steps of the link test in their order. A driver tells those up to [StepBus], and StepModule where it
// has seen an answer; the others need requests, which a driver does not send by itself.
func Steps() []Step {
	return []Step{StepPort, StepAdapter, StepSupply, StepBus, StepModule, StepLong}
}

// Grade tells in words what an adapter can do, as far as it was tried. It never depends on the version that the adapter
// claims.
type Grade struct {
	Word   GradeWord
	Can    []string // one sentence each
	Cannot []string // one sentence each; to be said before it matters
}

// GradeWord is a grade as a phrase that stands behind "This adapter".
type GradeWord string

const (
	GradeAll   GradeWord = "can do all that is needed"
	GradeMost  GradeWord = "can do most of what is needed"
	GradeReads GradeWord = "can be used for reading only"
	GradeShort GradeWord = "can be used for short answers only"
)
