package api

import (
	"net/http"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/issue"
	"timeball/internal/trial"
)

// Trial is the last trial of an instrument as it stands.
type Trial struct {
	Begun  time.Time    `json:"begun"`
	Ended  *time.Time   `json:"ended"` // null: it goes on
	State  string       `json:"state"`
	Day    int          `json:"day"` // from 1; 0 before the first reading
	Words  string       `json:"words"`
	Broken string       `json:"broken"` // what broke it, or empty
	Tasks  []Task       `json:"tasks"`
	Result trial.Script `json:"result"`
}

// Task is one thing to do in a trial.
type Task struct {
	Kind string     `json:"kind"`
	Do   string     `json:"do"`
	From *time.Time `json:"from"` // null: no hour is set
	By   *time.Time `json:"by"`
	Done bool       `json:"done"`
	Late bool       `json:"late"`
}

func (s *surface) trial(w http.ResponseWriter, r *http.Request) error {
	if _, err := questions(r, ""); err != nil {
		return err
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	t, err := adjust.Latest(seen)
	if err != nil {
		return err
	}
	out := Trial{Begun: t.Begun.At, State: string(t.Course.Today.State), Day: t.Course.Today.Day, Words: t.Course.Today.Words, Tasks: []Task{}, Result: t.Result.Script()}
	if t.Over() {
		out.Ended = &t.Ended.At
	}
	if t.Course.Broken != nil {
		out.Broken = t.Course.Broken.What
	}
	for _, task := range t.Course.Tasks {
		out.Tasks = append(out.Tasks, Task{Kind: string(task.Kind), Do: task.Do, From: hour(task.From), By: hour(task.By), Done: task.Done, Late: task.Late})
	}
	return send(w, http.StatusOK, out)
}

func hour(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

func (s *surface) certificate(w http.ResponseWriter, r *http.Request) error {
	if _, err := questions(r, ""); err != nil {
		return err
	}
	v, err := issue.New(s.workshop).Verify(r.Context(), r.PathValue("digest"))
	if err != nil {
		return err
	}
	return send(w, http.StatusOK, issue.NewVerifiedJSON(v))
}
