package main

import (
	"fmt"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"time"
)

const pageAt = "http://127.0.0.1:8077"

// water orders half a litre for a pot as a person does, on the page: choose an
// amount, see what it comes to, confirm.
func water(pot string) error {
	client := &http.Client{Timeout: 20 * time.Second}
	at := pageAt + "/pot/" + pot + "/water"
	body, err := read(client.Get(at + "?unit=L&offer=0.5"))
	if err != nil {
		return err
	}
	form := url.Values{}
	for _, field := range regexp.MustCompile(`<input type="hidden" name="([a-z]+)" value="([^"]*)"`).FindAllStringSubmatch(body, -1) {
		form.Set(field[1], field[2])
	}
	if !form.Has("ticket") || !form.Has("litres") {
		return fmt.Errorf("the page offers no confirmation for %s: %.600s", pot, body)
	}
	_, err = read(client.PostForm(at, form))
	return err
}

func read(r *http.Response, err error) (string, error) {
	if err != nil {
		return "", err
	}
	defer r.Body.Close()
	raw, err := io.ReadAll(io.LimitReader(r.Body, 1<<20))
	if err == nil && r.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s: %s: %.600s", r.Request.URL, r.Status, raw)
	}
	return string(raw), err
}
