package device

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"time"

	"tramd/device/capture"
	"tramd/device/frame"
	"tramd/device/serialport"
)

// replay plays a capture through the same decoder as a live port, once, then waits for ctx to end. At its own pace the
// samples are stamped as if the port were read now. As fast as possible they keep the capture's spacing and are set in
// the past, so that the last one is stamped with the start of the replay.
func (d *Device) replay(ctx context.Context, path string) error {
	defer func() { <-ctx.Done() }()
	defer close(d.ended)
	d.become(StateOpening, "")
	length, damage := capture.Length(path)
	if damage != nil {
		d.log.Warn("the capture is played up to its damage", "file", path, "err", damage)
	}
	f, err := os.Open(path)
	if err != nil {
		d.become(StateAbsent, fmt.Sprintf("cannot open the capture %s: correct the path in replay:FILE: %v", path, err))
		return nil
	}
	defer f.Close()
	origin := Now()
	if d.spec.ReplayFast {
		origin -= Stamp(length)
	}
	err = d.play(ctx, f, origin)
	if ctx.Err() != nil {
		return nil
	}
	text := "the capture has been played to its end"
	if !errors.Is(err, io.EOF) {
		text = fmt.Sprintf("the capture %s has been played up to its damage: %v", path, err)
	}
	d.become(StateLost, text)
	return nil
}

// play hands on record after record until the capture or ctx ends. The error says why: io.EOF at the end.
func (d *Device) play(ctx context.Context, r io.Reader, origin Stamp) error {
	records := capture.NewReader(r)
	isOpen := false
	var before Stamp // when the read before this one was
	open := func(clean bool, at Stamp) {
		isOpen, before = true, at
		d.countOpen()
		d.dec.Opened(clean, at)
		d.become(StateSettling, "")
	}
	for ctx.Err() == nil {
		rec, err := records.Next()
		if err != nil {
			d.release() // the silence after the end
			return err
		}
		at := origin + Stamp(rec.At)
		if !d.spec.ReplayFast {
			if wait := time.Duration(at - Now()); wait > 0 {
				sleep(ctx, wait)
			}
			if ctx.Err() != nil {
				break
			}
			at = max(at, Now())
		}
		switch rec.What {
		case capture.Clean, capture.Partial:
			open(rec.What == capture.Clean, at)
		case capture.Data:
			if !isOpen { // a part cut out of a longer capture
				open(false, at)
			}
			d.after(at) // an answer may have been too late by now
			d.take([]byte(rec.Data), frame.Arrival{From: before, At: at, Prompt: true})
			before, d.lastRead = at, at
			if d.requests != nil {
				d.requests.talked(at)
			}
			d.after(at)
		case capture.Asked:
			if d.requests != nil {
				d.after(at)
				d.requests.sent(rec.Data, at)
				d.countAsked()
			}
		case capture.Lost:
			d.release()
			isOpen = false
			d.become(StateLost, "in the capture the port was lost: "+rec.Data)
		}
	}
	return ctx.Err()
}

// Decode returns the samples that the decoder of a live port finds in what a probe heard, and the faults by reason. The
// stream was joined in mid-talk.
func (s Spec) Decode(chunks []serialport.Chunk) ([]Sample, map[string]uint64, error) {
	var out []Sample
	d, err := New(0, s, func(b Batch) { out = append(out, b.Samples...) }, slog.New(slog.DiscardHandler))
	if err != nil {
		return nil, nil, err
	}
	d.dec.Opened(false, 0)
	for _, c := range chunks {
		at := Stamp(c.At) + 1
		d.after(at)
		if c.Asked {
			if d.requests != nil {
				d.requests.sent(string(c.Data), at)
			}
			continue
		}
		d.take(c.Data, frame.Arrival{From: d.lastRead, At: at, Prompt: true})
		d.lastRead = at
		if d.requests != nil {
			d.requests.talked(at)
		}
		d.after(at)
	}
	d.release()
	return out, d.Status().Faults, nil
}
