package page

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"sync"
	"time"
)

const (
	// formLife is how long a form may lie open before it is too old.
	formLife = 30 * time.Minute
	// maxSpent bounds what is remembered of used forms. All of them were sent
	// by people who may act.
	maxSpent = 4000
	nonceLen = 16
	macLen   = 16
)

var (
	errTicket = errors.New("the form is used up or too old")
	errMany   = errors.New("too many forms at once")
)

// tickets make each form work once. A ticket proves itself (nonce, end, MAC
// over session and purpose), so that handing one out costs no memory; only the
// spent ones are remembered until they would have ended anyway.
type tickets struct {
	key   [32]byte
	now   func() time.Time
	mu    sync.Mutex
	spent map[[nonceLen]byte]time.Time
}

func newTickets(now func() time.Time) *tickets {
	t := &tickets{now: now, spent: map[[nonceLen]byte]time.Time{}}
	rand.Read(t.key[:]) // never fails: the program ends instead
	return t
}

// issue makes a ticket for one purpose of one session.
func (t *tickets) issue(session, purpose string) string {
	var b [nonceLen + 8 + macLen]byte
	rand.Read(b[:nonceLen])
	binary.BigEndian.PutUint64(b[nonceLen:], uint64(t.now().Add(formLife).Unix()))
	copy(b[nonceLen+8:], t.mac(b[:nonceLen+8], session, purpose))
	return base64.RawURLEncoding.EncodeToString(b[:])
}

// spend uses a ticket up.
func (t *tickets) spend(ticket, session, purpose string) error {
	b, err := base64.RawURLEncoding.Strict().DecodeString(ticket)
	if err != nil || len(b) != nonceLen+8+macLen {
		return errTicket
	}
	if !hmac.Equal(b[nonceLen+8:], t.mac(b[:nonceLen+8], session, purpose)) {
		return errTicket
	}
	now := t.now()
	until := time.Unix(int64(binary.BigEndian.Uint64(b[nonceLen:])), 0)
	if now.After(until) {
		return errTicket
	}
	nonce := [nonceLen]byte(b[:nonceLen])
	t.mu.Lock()
	defer t.mu.Unlock()
	if _, used := t.spent[nonce]; used {
		return errTicket
	}
	if len(t.spent) >= maxSpent {
		for k, end := range t.spent {
			if now.After(end) {
				delete(t.spent, k)
			}
		}
		if len(t.spent) >= maxSpent {
			return errMany
		}
	}
	t.spent[nonce] = until
	return nil
}

func (t *tickets) mac(head []byte, session, purpose string) []byte {
	m := hmac.New(sha256.New, t.key[:])
	m.Write(head)
	// Lengths keep session and purpose apart.
	var n [8]byte
	binary.BigEndian.PutUint64(n[:], uint64(len(session)))
	m.Write(n[:])
	m.Write([]byte(session))
	m.Write([]byte(purpose))
	return m.Sum(nil)[:macLen]
}
