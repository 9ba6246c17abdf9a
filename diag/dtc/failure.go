package dtc

// FailureText says a failure type (third byte) in plain words. known is false where no source, or one list alone,
// describes it, or lists contradict each other; the text then says so. Values from F0 up belong to the maker.
func FailureText(b byte) (text string, known bool) {
	switch f, ok := tables().failures[b]; {
	case ok && f.sure:
		return f.text, true
	case ok:
		return f.text + " (not certain: lists differ)", false
	case b >= 0xF0:
		return "failure type of the maker's own", false
	}
	return "failure type not described", false
}
