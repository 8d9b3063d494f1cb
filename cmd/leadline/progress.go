package main

import (
	"io"
	"os"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// progress shows a bar on standard error once the work has taken a second, and only where that is a terminal.
type progress struct {
	mutex   sync.Mutex
	writer  io.Writer // nil: show nothing
	started time.Time
	bar     *progressbar.ProgressBar
	stage   string
}

func newProgress(stderr io.Writer) *progress {
	p := &progress{started: time.Now()}
	if f, ok := stderr.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		p.writer = stderr
	}
	return p
}

func (p *progress) update(stage string, share float64) {
	if p.writer == nil {
		return
	}
	p.mutex.Lock()
	defer p.mutex.Unlock()
	if time.Since(p.started) < time.Second {
		return
	}
	if p.bar == nil {
		p.bar = progressbar.NewOptions(100, progressbar.OptionSetWriter(p.writer), progressbar.OptionClearOnFinish(), progressbar.OptionSetWidth(30))
	}
	if stage != p.stage {
		p.stage = stage
		p.bar.Reset()
		p.bar.Describe(stage)
	}
	_ = p.bar.Set(int(100 * share)) // a terminal that can't be written to is no reason to stop
}

func (p *progress) done() {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	if p.bar != nil {
		_ = p.bar.Clear()
	}
}
