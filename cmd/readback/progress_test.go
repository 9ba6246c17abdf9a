package main

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"readback/diag/lesson"
)

func TestProgressIsKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "deep", "lessons.json")
	if got, err := loadProgress(path); err != nil || len(got.Lessons) != 0 {
		t.Errorf("without a file: %+v %v", got, err)
	}
	for _, want := range []lesson.Progress{{Lessons: map[string]lesson.Reached{"frame": {Step: 2}}}, {Lessons: map[string]lesson.Reached{"frame": {Step: 4, Done: true}, "who": {Step: 1}}}} {
		if err := saveSettings(path, want); err != nil {
			t.Fatal(err)
		}
		if got, err := loadProgress(path); err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%+v %v, want %+v", got, err, want)
		}
	}
	if left, err := filepath.Glob(filepath.Join(filepath.Dir(path), "*")); err != nil || len(left) != 1 {
		t.Errorf("left behind: %v %v", left, err)
	}
	if err := os.WriteFile(path, []byte("[1"), 0o600); err != nil {
		t.Fatal(err)
	}
	if got, err := loadProgress(path); err == nil || len(got.Lessons) != 0 {
		t.Errorf("a torn file: %+v %v", got, err)
	}
	if err := os.WriteFile(path, make([]byte, mostSettings+1), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := loadProgress(path); err == nil || !strings.Contains(err.Error(), "more than") {
		t.Errorf("a long file: %v", err)
	}
}
