package lesson

import (
	"encoding/json"
	"fmt"
	"maps"
)

// Progress is how far a learner has come. The zero value has not begun. Its JSON is the file that it is kept in.
type Progress struct {
	Lessons map[string]Reached `json:"lessons"` // by the lesson's ID
}

// Reached is how far a learner has come in one lesson.
type Reached struct {
	Step int  `json:"step"` // the step that was shown last, from 0
	Done bool `json:"done"` // it was finished once
}

// ReadProgress reads what Progress writes as JSON. What is unlikely in it counts as not begun.
func ReadProgress(b []byte) (Progress, error) {
	var p Progress
	if err := json.Unmarshal(b, &p); err != nil {
		return Progress{}, fmt.Errorf("lesson: reading progress: %w", err)
	}
	for id, r := range p.Lessons {
		if r.Step < 0 {
			p.Lessons[id] = Reached{Done: r.Done}
		}
	}
	return p, nil
}

// With is the progress after a run has come to where it is. What was finished stays finished.
func (p Progress) With(r *Run) Progress {
	out := Progress{Lessons: maps.Clone(p.Lessons)}
	if out.Lessons == nil {
		out.Lessons = map[string]Reached{}
	}
	id := r.lesson.ID
	out.Lessons[id] = Reached{Step: r.at, Done: out.Lessons[id].Done || r.Finished()}
	return out
}

// Next is the first of the lessons that is not finished, 0 when all are.
func (p Progress) Next(lessons []Lesson) int {
	for i, l := range lessons {
		if !p.Lessons[l.ID].Done {
			return i
		}
	}
	return 0
}
