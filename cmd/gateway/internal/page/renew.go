package page

import "fabricpot/control/garden"

// Renew has the page go on with another version of its garden. Who is signed in
// stays so.
func (p *Page) Renew(g *garden.Garden) error {
	o := p.o
	o.Garden = g
	n, err := New(o)
	if err != nil {
		return err
	}
	n.sessions, n.slow, n.tickets = p.sessions, p.slow, p.tickets
	n.streams, n.scrapers, n.reading = p.streams, p.scrapers, p.reading
	p.next.Store(n)
	return nil
}
