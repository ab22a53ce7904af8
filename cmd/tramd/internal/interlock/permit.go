package interlock

import "fmt"

// Why a motion is stopped that no page or terminal holds any more.
const (
	letGo    = "the motion was let go, so it was stopped"
	lostHold = "no sign came for 2 s from the page or terminal that began the motion, so it is not watched there; it was stopped"
)

// Permit goes with one motion, from its start until the arm stands.
type Permit struct {
	l *Interlock
	g *grant
}

// Bar says why the arm may not be moved any more.
func (p *Permit) Bar() Bar {
	if why := p.l.Input(); why != "" {
		return Bar{Why: why}
	}
	p.l.mu.Lock()
	defer p.l.mu.Unlock()
	now := p.l.o.Clock()
	switch g := p.g; {
	case g.ended != "":
		return Bar{Why: g.ended, Asked: true}
	case g.key == "" && now >= g.until:
		return Bar{Why: fmt.Sprintf("the arming of planned checks ran out at %s, so the arm was stopped",
			g.shows.Local().Format("15:04:05")), Asked: true}
	case g.key != "" && now > g.held:
		return Bar{Why: lostHold, Asked: true}
	}
	return Bar{}
}

// Hold takes a sign of life of the person who started the motion. It gives the bar of a motion that must not go on.
func (p *Permit) Hold() Bar {
	p.l.mu.Lock()
	defer p.l.mu.Unlock()
	return p.g.hold(p.l)
}

// LetGo stops the motion, for the reason that is given.
func (p *Permit) LetGo(why string) {
	p.l.mu.Lock()
	defer p.l.mu.Unlock()
	if p.g.key != "" {
		p.g.takeBack(why)
	}
}

// End says that the arm stands: nothing is held any more.
func (p *Permit) End() {
	p.l.mu.Lock()
	defer p.l.mu.Unlock()
	p.g.over = p.g.key != ""
}

// Hold takes a sign of life of the owner of a key, before the start or after it. The bar says why there is nothing to
// hold.
func (l *Interlock) Hold(key string) Bar {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.keyed == nil || key == "" || l.keyed.key != key {
		return Bar{Why: "the motion is not armed with this key; arm it first"}
	}
	return l.keyed.hold(l)
}

func (g *grant) hold(l *Interlock) Bar {
	now := l.o.Clock()
	switch {
	case g.ended != "":
		return Bar{Why: g.ended, Asked: true}
	case g.over:
		return Bar{Why: "the motion has ended; there is nothing to hold", Asked: true}
	case (g.begun || g.signed) && now > g.held: // too late: a motion that was to stop is not begun again by a late sign
		g.takeBack(lostHold)
		return Bar{Why: lostHold, Asked: true}
	case !g.begun && now > g.until:
		return Bar{Why: "the arming has run out; arm it again", Asked: true}
	}
	g.signed, g.held = true, now+HoldFor
	return Bar{}
}

// LetGo takes it that the owner of a key has let go: the motion is stopped, or cannot be started with it any more. A
// sign of life that was on its way comes too late.
func (l *Interlock) LetGo(key string) Bar {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.keyed == nil || key == "" || l.keyed.key != key {
		return Bar{Why: "the motion is not armed with this key; there is nothing to let go"}
	}
	l.keyed.takeBack(letGo)
	return Bar{}
}
