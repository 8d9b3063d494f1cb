package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
)

// rendered is a finished output: a path, or - for standard output.
type rendered struct {
	path string
	data []byte
}

// target is where one output goes.
type target struct {
	rendered
	file      string      // at the end of any links
	old       fs.FileInfo // nil where there is no such file yet
	temporary string
}

// writeAll writes every file beside its target first, flushes it to the disk, and renames them only when all are whole: whatever happens, a target holds
// either what it held or all of the new content. What isn't a file, such as standard output (-), a device or a pipe, gets its content last.
func writeAll(files []rendered, stdout io.Writer) (err error) {
	targets, streams, err := sortTargets(files)
	if err != nil {
		return err
	}
	defer func() {
		for _, t := range targets {
			if t.temporary != "" {
				os.Remove(t.temporary) // gone already where the rename went through
			}
		}
	}()
	for i := range targets {
		if err := targets[i].writeTemporary(); err != nil {
			return fmt.Errorf("%s: %w; nothing was written", targets[i].path, err)
		}
	}
	for _, t := range targets {
		if err := os.Rename(t.temporary, t.file); err != nil {
			return fmt.Errorf("%s: %w", t.path, err)
		}
	}
	for _, t := range targets {
		syncFolder(filepath.Dir(t.file))
	}
	for _, s := range streams {
		if err := s.stream(stdout); err != nil {
			return err
		}
	}
	return nil
}

// sortTargets finds out where the outputs go, and refuses what can't be written or would be written twice.
func sortTargets(files []rendered) (targets []target, streams []rendered, err error) {
	seen := map[string]string{}
	for _, f := range files {
		t := target{rendered: f}
		stream := f.path == "-"
		if !stream {
			if t.file, t.old, err = resolve(f.path); err != nil {
				return nil, nil, err
			}
			stream = t.old != nil && !t.old.Mode().IsRegular()
		}
		key := t.file
		if absolute, err := filepath.Abs(key); err == nil && key != "" {
			key = absolute
		}
		if other, twice := seen[key]; twice && !(stream && key != "") {
			return nil, nil, fmt.Errorf("%s and %s are one file: give each output its own", other, f.path)
		}
		seen[key] = f.path
		if stream {
			streams = append(streams, f)
			continue
		}
		if err := t.writable(); err != nil {
			return nil, nil, err
		}
		targets = append(targets, t)
	}
	return targets, streams, nil
}

// resolve follows links, also one whose end is not there yet, so that the rename replaces the file and not the link.
func resolve(path string) (file string, info fs.FileInfo, err error) {
	file = path
	for range 40 { // as many as Linux follows
		info, err = os.Lstat(file)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return file, nil, nil
		case err != nil:
			return "", nil, err
		case info.IsDir():
			return "", nil, fmt.Errorf("%s is a folder: give a file name", path)
		case info.Mode()&fs.ModeSymlink == 0:
			return file, info, nil
		}
		next, err := os.Readlink(file)
		if err != nil {
			return "", nil, err
		}
		if !filepath.IsAbs(next) {
			folder, err := filepath.EvalSymlinks(filepath.Dir(file)) // .. in a link counts from where its folder really is
			if err != nil {
				return "", nil, err
			}
			next = filepath.Join(folder, next)
		}
		file = next
	}
	return "", nil, fmt.Errorf("%s is a link that leads back to itself: remove it", path)
}

// writable refuses a file that is there and protected, which a rename would replace all the same.
func (t *target) writable() error {
	if t.old == nil {
		return nil
	}
	f, err := os.OpenFile(t.file, os.O_WRONLY, 0)
	if err == nil {
		err = f.Close()
		if t.old.Mode().Perm()&0o222 == 0 { // root may write it none the less
			err = fs.ErrPermission
		}
	}
	if err != nil {
		return fmt.Errorf("%s is write-protected (%w): give another name, or make it writable; nothing was written", t.path, cause(err))
	}
	return nil
}

// cause leaves out the path, which the message has already.
func cause(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err
	}
	return err
}

func (t *target) writeTemporary() (err error) {
	name := filepath.Join(filepath.Dir(t.file), fmt.Sprintf(".leadline-%016x", rand.Uint64()))
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666) // less what the user's mask takes away
	if err != nil {
		return cause(err)
	}
	t.temporary = name
	if _, err = f.Write(t.data); err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err == nil && t.old != nil {
		err = os.Chmod(name, t.old.Mode().Perm())
	}
	return cause(err)
}

// syncFolder makes renames outlast a power failure, where the system can.
func syncFolder(path string) {
	if f, err := os.Open(path); err == nil {
		_ = f.Sync() // not every file system can; the content is safe either way
		f.Close()
	}
}

func (r *rendered) stream(stdout io.Writer) error {
	if r.path == "-" {
		if _, err := stdout.Write(r.data); err != nil {
			return fmt.Errorf("standard output: %w", cause(err))
		}
		return nil
	}
	f, err := os.OpenFile(r.path, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = f.Write(r.data)
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	return err
}

// spareInputs refuses outputs that would replace what the command reads. Empty paths and - count for nothing.
func spareInputs(command string, inputs []string, outputs ...string) error {
	var known []fs.FileInfo
	for _, path := range inputs {
		if info, err := os.Stat(path); path != "" && err == nil {
			known = append(known, info)
		}
	}
	for _, path := range outputs {
		info, err := os.Stat(path)
		if path == "" || path == "-" || err != nil {
			continue // not there yet; other troubles show when it is written
		}
		for _, k := range known {
			if os.SameFile(info, k) {
				return fmt.Errorf("%s: %s is one of the files to be read: give another folder or name", command, path)
			}
		}
	}
	return nil
}
