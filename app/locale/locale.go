// Package locale names a language where the system names none.
//
// A system without a language says C.UTF-8 or POSIX.UTF-8, which Fyne's catalogue calls an error whenever it is asked,
// the first time before main. This package must therefore have run before that one. It does by the order that the
// language sets (Go specification, package initialization): of the packages that wait for nothing the one with the
// first path goes first; this one waits for package os alone, Fyne's catalogue also for text/template, whose path comes
// later than this one's.
package locale

import "os"

// English is what stands for no language.
const English = "en_GB.UTF-8"

func init() {
	if name, ok := nameless(os.Getenv); ok {
		os.Setenv(name, English)
	}
}

// nameless is the variable that decides about the language, when it names none.
func nameless(get func(string) string) (name string, ok bool) {
	for _, name := range []string{"LC_ALL", "LC_MESSAGES", "LANG"} {
		v := get(name)
		if v == "" {
			continue
		}
		for _, none := range []string{"C", "POSIX"} {
			if len(v) >= len(none) && v[:len(none)] == none && (len(v) == len(none) || v[len(none)] == '.') {
				return name, true
			}
		}
		return "", false
	}
	return "LANG", true
}
