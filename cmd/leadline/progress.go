package main

import (
	"io"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
)

// progress shows a bar on standard error once the work has taken a second, and only where that is a terminal. With --verbose each stage is a line instead.
type progress struct {
	mutex   sync.Mutex
	console *console
	writer  io.Writer // of the bar; nil: show none
	started time.Time
	bar     *progressbar.ProgressBar
	stage   string
}

func (c *console) progress() *progress {
	p := &progress{console: c, started: time.Now()}
	if !c.quiet && !c.verbose && isTerminal(c.stderr) {
		p.writer = c.stderr
	}
	return p
}

func (p *progress) update(stage string, share float64) {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	changed := stage != p.stage
	p.stage = stage
	if changed {
		p.console.say("%s", stage)
	}
	if p.writer == nil || time.Since(p.started) < time.Second {
		return
	}
	if p.bar == nil {
		p.bar = progressbar.NewOptions(100, progressbar.OptionSetWriter(p.writer), progressbar.OptionClearOnFinish(), progressbar.OptionSetWidth(30))
		changed = true
	}
	if changed {
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
