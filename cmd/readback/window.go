package main

import (
	"context"
	"iter"
	"time"

	"readback/app"
	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/all"
	"readback/diag/explain"
	"readback/diag/garage"
)

var (
	_ app.Visit   = (*diag.Visit)(nil)
	_ app.Logbook = (*garage.Store)(nil)
)

// watchEvery is how often it is looked what is plugged in.
const watchEvery = 1500 * time.Millisecond

// engine is what the window works with. Without a logbook nothing can be opened: a change must be written down first.
func engine(store *garage.Store, trouble error) app.Engine {
	drivers := all.Drivers()
	e := app.Engine{
		Find: func(ctx context.Context) ([]adapter.Found, error) { return diag.Find(ctx, drivers) },
		Watch: func(ctx context.Context) iter.Seq2[diag.Seen, error] {
			return diag.WatchAdapters(ctx, drivers, watchEvery)
		},
		Open: func(ctx context.Context, p adapter.Place, tell func(adapter.Rung)) (app.Visit, error) {
			if store == nil {
				return nil, trouble
			}
			return diag.Open(ctx, diag.Options{Place: p, Drivers: drivers, Store: store, Tell: tell})
		},
		Explain: diag.Explain,
		Compare: func(a, b string) explain.Comparison { return explain.Compare(a, b, explain.Options{}) },
		Trouble: trouble,
	}
	if store != nil {
		e.Log = store
		e.Preview = func(ctx context.Context, visit int64, o diag.ReportOptions) (diag.Preview, error) {
			return diag.PreviewReport(ctx, store, visit, o)
		}
		e.WriteReport = func(ctx context.Context, visit int64, path string, o diag.ReportOptions) (garage.Report, error) {
			r, _, err := diag.WriteReport(ctx, store, visit, path, o)
			return r, err
		}
	}
	return e
}
