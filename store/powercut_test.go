package store

import (
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// logEnv names the log of what a writer wrote and had synced; see testdata/powercut.c.
const logEnv = "POWERCUT_LOG"

// acknowledge notes in that log what the store reported as stored.
func acknowledge(what string, id int64, n int) {
	fmt.Println(what, id, n)
	name := os.Getenv(logEnv)
	if name == "" {
		return
	}
	text := fmt.Sprintf("%s %d %d", what, id, n)
	rec := append([]byte{'A', 0}, make([]byte, 16)...)
	binary.LittleEndian.PutUint64(rec[10:], uint64(len(text)))
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_APPEND, 0)
	if err == nil {
		_, err = f.Write(append(rec, text...))
		_ = f.Close()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// doing is one thing a writer did to a file, or an answer that it got.
type doing struct {
	kind  byte
	file  int
	at    int
	bytes []byte
}

func readDoings(t *testing.T, path string) (out []doing) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for len(text) >= 18 {
		d := doing{kind: text[0], file: int(text[1]), at: int(binary.LittleEndian.Uint64(text[2:]))}
		n := int(binary.LittleEndian.Uint64(text[10:]))
		if text = text[18:]; n > len(text) { // the kill fell into it
			break
		}
		d.bytes, text = text[:n], text[n:]
		out = append(out, d)
	}
	return out
}

// disk is two files: what certainly is on the disk, and what was done since they were synced, which may be or not.
type disk struct {
	sure    [2][]byte
	pending [2][]doing
}

func (d *disk) do(x doing) {
	switch x.kind {
	case 'W', 'T':
		d.pending[x.file] = append(d.pending[x.file], x)
	case 'S':
		for _, p := range d.pending[x.file] {
			d.sure[x.file] = apply(d.sure[x.file], p, func() bool { return true })
		}
		d.pending[x.file] = nil
	}
}

// sector is what a disk writes whole.
const sector = 512

// apply does one thing to a file, each sector of it as luck has it.
func apply(file []byte, x doing, luck func() bool) []byte {
	if x.kind == 'T' {
		if luck() {
			file = append(file[:min(x.at, len(file))], make([]byte, max(x.at-len(file), 0))...)
		}
		return file
	}
	if grow := x.at + len(x.bytes) - len(file); grow > 0 {
		file = append(file, make([]byte, grow)...)
	}
	for from := 0; from < len(x.bytes); from += sector {
		if luck() {
			copy(file[x.at+from:], x.bytes[from:min(from+sector, len(x.bytes))])
		}
	}
	return file
}

// cut leaves the files as a power cut would.
func (d *disk) cut(path string, luck func() bool) error {
	for i, suffix := range []string{"", "-wal"} {
		file := slices.Clone(d.sure[i])
		for _, p := range d.pending[i] {
			file = apply(file, p, luck)
		}
		if err := os.WriteFile(path+suffix, file, 0o640); err != nil {
			return err
		}
	}
	return nil
}

// The power is cut at many instants of a writer's work. Some sectors that were not yet synced reach the disk, and some
// do not. Whatever the store had acknowledged is there, and the file is whole.
func TestThePowerIsCut(t *testing.T) {
	dir := t.TempDir()
	shim := filepath.Join(dir, "powercut.so")
	if out, err := exec.Command("cc", "-shared", "-fPIC", "-O1", "-o", shim, "testdata/powercut.c").CombinedOutput(); err != nil {
		t.Fatalf("%v; install a C compiler\n%s", err, out)
	}
	log := filepath.Join(dir, "log")
	t.Setenv(logEnv, log)
	t.Setenv("LD_PRELOAD", shim)
	killedChild(t, filepath.Join(dir, "linnet.db"), time.Second)
	doings := readDoings(t, log)
	acknowledged := 0
	for _, x := range doings {
		if x.kind == 'A' {
			acknowledged++
		}
	}
	if len(doings) < 500 || acknowledged < 50 {
		t.Fatalf("%d things done, %d acknowledged: too little to cut into", len(doings), acknowledged)
	}
	cuts := 60
	if *torture {
		cuts = 2000
	}
	rng := rand.New(rand.NewPCG(41, 42))
	var instants []int
	for range cuts {
		instants = append(instants, rng.IntN(len(doings)))
	}
	slices.Sort(instants)
	var d disk
	chunks, finished := map[int64]int{}, map[int64]bool{}
	at, inDoubt := 0, 0
	for n, instant := range instants {
		for ; at <= instant; at++ {
			d.do(doings[at])
			if doings[at].kind == 'A' {
				var what string
				var id int64
				var k int
				if _, err := fmt.Sscan(string(doings[at].bytes), &what, &id, &k); err != nil {
					t.Fatal(err)
				}
				chunks[id], finished[id] = max(chunks[id], k), finished[id] || what == "finished"
			}
		}
		if len(chunks) == 0 { // the file itself is still being made
			continue
		}
		if len(d.pending[0])+len(d.pending[1]) > 0 {
			inDoubt++
		}
		path := filepath.Join(dir, fmt.Sprintf("cut%d.db", n))
		if err := d.cut(path, func() bool { return rng.IntN(2) == 0 }); err != nil {
			t.Fatal(err)
		}
		checkCut(t, path, chunks, finished)
	}
	if inDoubt < cuts/10 {
		t.Errorf("only %d of %d cuts fell between a write and its sync", inDoubt, cuts)
	}
	t.Logf("%d cuts into %d writes and syncs, %d with sectors in doubt; nothing acknowledged was missing", cuts,
		len(doings), inDoubt)
}

func checkCut(t *testing.T, path string, chunks map[int64]int, finished map[int64]bool) {
	t.Helper()
	s, err := Open(t.Context(), path, Options{busyTimeout: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		_ = os.Remove(path)
	}()
	found, err := s.RecoverUnfinished(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Check(t.Context()); err != nil {
		t.Fatal(err)
	}
	for id, n := range chunks {
		checkKept(t, s, id, n, finished[id], slices.Contains(found, id))
	}
}
