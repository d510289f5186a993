//go:build !linux

package gpioline

import (
	"errors"
	"io"
)

// errElsewhere is returned where there is no GPIO character device.
var errElsewhere = errors.New("gpioline: GPIO lines need Linux")

// elsewhere has no GPIO lines; developers build the rest there.
type elsewhere struct{}

func machine() kernel { return elsewhere{} }

func (elsewhere) chips() ([]string, error)         { return nil, errElsewhere }
func (elsewhere) open(string) (int, error)         { return -1, errElsewhere }
func (elsewhere) close(int) error                  { return errElsewhere }
func (elsewhere) chipInfo(int, *chipInfo) error    { return errElsewhere }
func (elsewhere) lineInfo(int, *lineInfo) error    { return errElsewhere }
func (elsewhere) line(int, *lineRequest) error     { return errElsewhere }
func (elsewhere) values(int, *lineValues) error    { return errElsewhere }
func (elsewhere) setValues(int, *lineValues) error { return errElsewhere }
func (elsewhere) stream(int, string) (io.ReadCloser, error) {
	return nil, errElsewhere
}
func (elsewhere) busy(error) bool { return false }
