package main

import (
	"errors"
	"fmt"
	"hash/fnv"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
)

// A board's gateway whose card can't be read or written keeps a journal in memory,
// in one folder for all starts of a boot: a start finds what those before it were
// asked, what they gave and how often they crashed.

// memoryFiles is the system's file system in memory.
const memoryFiles = "/dev/shm"

// unkeptFolders are where that folder may be, the best first. It is another one for
// another control socket, which is what keeps two gateways apart.
func unkeptFolders(socket string) []string {
	sum := socketSum(socket)
	var in []string
	if dir := os.Getenv("RUNTIME_DIRECTORY"); dir != "" { // set by the service manager
		in = append(in, filepath.Join(filepath.SplitList(dir)[0], fmt.Sprintf("unkept-%x", sum)))
	}
	return append(in, filepath.Join(memoryFiles, fmt.Sprintf("fabricpot-%d-%x", os.Getuid(), sum)))
}

// socketSum tells one control socket from another in the name of a file.
func socketSum(socket string) uint64 {
	if abs, err := filepath.Abs(socket); err == nil {
		socket = abs
	}
	h := fnv.New64a()
	h.Write([]byte(socket))
	return h.Sum64()
}

// openUnkept opens a journal in memory in place of one whose card is broken: that of
// this boot in the first folder that is this user's own, else a new one each time.
func openUnkept(s streams, why error, folders []string) (*runner.Keeper, error) {
	fmt.Fprintln(s.err, why)
	fmt.Fprintln(s.err, "until that is mended only a few survival doses are given: free some space, or replace the card, and start again")
	err := why
	if clock, bad := journal.BootClock(); bad == nil {
		for _, dir := range folders {
			var j *journal.Journal
			if j, err = openOfBoot(dir, clock); err == nil {
				return runner.NewUnkept(j, why), nil
			}
			fmt.Fprintln(s.err, err)
		}
	}
	for _, base := range []string{memoryFiles, ""} {
		var dir string
		if dir, err = os.MkdirTemp(base, "fabricpot-"); err != nil {
			continue
		}
		var j *journal.Journal
		if j, _, err = journal.Open(filepath.Join(dir, "journal.db")); err == nil {
			return runner.NewUnkept(j, why), nil
		}
	}
	return nil, errors.Join(why, err)
}

// openOfBoot opens a folder's journal of that boot and drops what else is there: what
// an earlier boot gave was charged by it, or was lost with its power.
func openOfBoot(dir, clock string) (*journal.Journal, error) {
	err := os.Mkdir(dir, 0o700)
	if errors.Is(err, fs.ErrExist) {
		err = ownFolder(dir)
	}
	var there []os.DirEntry
	if err == nil {
		there, err = os.ReadDir(dir)
	}
	if err != nil {
		return nil, fmt.Errorf("journal in memory: %w", err)
	}
	name := "journal-" + strings.TrimPrefix(clock, "boot ") + ".db"
	for _, f := range there {
		if left, ok := strings.CutPrefix(f.Name(), name); !ok || left != "" && left != "-wal" && left != "-shm" {
			err = errors.Join(err, os.RemoveAll(filepath.Join(dir, f.Name())))
		}
	}
	if err != nil {
		return nil, fmt.Errorf("journal in memory: %w", err)
	}
	j, _, err := journal.Open(filepath.Join(dir, name), journal.WithClock(clock))
	return j, err
}

// forgetUnkept removes what starts without a card left in memory: the journal is
// there again, and what they gave and were asked is remembered beside it.
func forgetUnkept(s streams, folders []string) {
	for _, dir := range folders {
		if ownFolder(dir) != nil {
			continue
		}
		if err := os.RemoveAll(dir); err != nil {
			fmt.Fprintln(s.err, "journal in memory:", err)
		}
	}
}
