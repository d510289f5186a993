package gpioline

import "io"

// kernel is what this package needs of the machine: descriptors and ioctls. The
// structs are passed as pointers and filled in, as the real ones are.
type kernel interface {
	// chips lists the paths of the GPIO chips, in order of their number.
	chips() ([]string, error)
	open(path string) (int, error)
	close(fd int) error
	chipInfo(fd int, c *chipInfo) error
	lineInfo(fd int, l *lineInfo) error
	line(fd int, r *lineRequest) error
	values(fd int, v *lineValues) error
	setValues(fd int, v *lineValues) error
	// stream reads the events of a line request, whole ones at a time. Closing
	// it closes the descriptor and ends a read that waits.
	stream(fd int, name string) (io.ReadCloser, error)
	// busy reports whether err means that somebody else holds the line.
	busy(err error) bool
}
