package main

import (
	"context"
	"fmt"
	"io"
)

// labRows are measured with the kernel of the lab, whose time counts instructions, so that a busy computer changes nothing.
func labRows() []row {
	one := func(name string) func(context.Context, *bench) (sample, error) {
		return func(ctx context.Context, b *bench) (sample, error) {
			got, err := b.roundTrips(ctx)
			return sample{got[name], got["kernel-kernel"]}, err
		}
	}
	const kernel = "the kernel's ISO-TP with itself"
	return []row{
		{name: "ISO-TP there and back, ours with the kernel's", goal: 1, runs: 1, anchor: kernel, measure: one("ours-kernel")},
		{name: "ISO-TP there and back, ours with ours", goal: 1.5, runs: 1, anchor: kernel, measure: one("ours-ours")},
	}
}

// roundTrips are the seconds of a question with its answer over a virtual CAN interface, by who plays the ends.
func (b *bench) roundTrips(ctx context.Context) (map[string]float64, error) {
	const key, benchmark = "round trips", "RoundTripKernel/"
	if got, ok := b.kept[key].(map[string]float64); ok {
		return got, nil
	}
	j := &job{project: b.project, log: io.Discard}
	k, err := j.findKernel(ctx)
	if err != nil {
		return nil, err
	}
	_, said, err := j.guest(ctx, k, "./diag/adapter/socketcan", "-test.run=^$", "-test.bench=Kernel$", "-test.benchtime=500x")
	if err != nil {
		return nil, fmt.Errorf("the lab: %w\n%s", err, lastLines(said.String(), 20))
	}
	list, err := readBenchmarks(said)
	if err != nil {
		return nil, err
	}
	got := map[string]float64{}
	for _, x := range list {
		got[x.name] = median(x.values["ns/op"]) / 1e9
	}
	out := map[string]float64{}
	for _, name := range []string{"ours-ours", "ours-kernel", "kernel-kernel"} {
		if out[name] = got[benchmark+name]; out[name] == 0 {
			return nil, fmt.Errorf("the lab told nothing of %s%s:\n%s", benchmark, name, lastLines(said.String(), 20))
		}
	}
	b.kept[key] = out
	return out, nil
}
