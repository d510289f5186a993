package page

import (
	"crypto/rand"
	"crypto/sha256"
	"sync"
	"time"
)

const (
	sessionLife = 30 * 24 * time.Hour
	maxSessions = 200
)

// sessions are the signed-in browsers. They live in memory: after a restart
// people sign in again. Keys are kept hashed, so that a memory dump signs
// nobody in.
type sessions struct {
	mu   sync.Mutex
	now  func() time.Time
	open map[[32]byte]session
}

type session struct {
	who   role
	until time.Time
}

func newSessions(now func() time.Time) *sessions {
	return &sessions{now: now, open: map[[32]byte]session{}}
}

// begin opens a session and returns its key. Where there are too many the one
// that ends first gives way.
func (s *sessions) begin(who role) string {
	key := rand.Text()
	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.now()
	var oldest [32]byte
	var first time.Time
	for k, v := range s.open {
		if !v.until.After(now) {
			delete(s.open, k)
			continue
		}
		if first.IsZero() || v.until.Before(first) {
			oldest, first = k, v.until
		}
	}
	if len(s.open) >= maxSessions {
		delete(s.open, oldest)
	}
	s.open[sha256.Sum256([]byte(key))] = session{who, now.Add(sessionLife)}
	return key
}

func (s *sessions) role(key string) (role, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	v, ok := s.open[sha256.Sum256([]byte(key))]
	if !ok || !v.until.After(s.now()) {
		return nobody, false
	}
	return v.who, true
}

func (s *sessions) end(key string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.open, sha256.Sum256([]byte(key)))
}
