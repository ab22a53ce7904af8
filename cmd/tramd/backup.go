package main

import (
	"encoding/json"
	"fmt"
	"os"

	"tramd/store"
)

type backupCmd struct {
	configFlag
	To       string `arg:"" optional:"" help:"A folder on another disk (a numbered file is made in it), or a new file. Without it: backup.to of the configuration."`
	Keep     int    `placeholder:"N" help:"How many to keep in the folder; the oldest go. Without it: backup.keep of the configuration."`
	SameDisk bool   `name:"same-disk" help:"Allow a folder on the disk the record is on."`
	JSON     bool   `name:"json" help:"Print one JSON object: the file that was made, and those that were removed."`
}

func (c *backupCmd) Run(e *env) error {
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	if c.Keep < 0 {
		return usageError{fmt.Errorf("--keep %d; write how many backups to keep, or 0 for all", c.Keep)}
	}
	o := store.BackupOptions{Name: cfg.Machine.Name, Keep: c.Keep, SameDisk: c.SameDisk || cfg.Backup.SameDisk}
	to := c.To
	if to == "" {
		if to = cfg.Backup.To; to == "" {
			return usageError{fmt.Errorf(
				"say where to: a folder or a file, or write [backup] to = \"/mnt/stick/tramd\" in %s", c.Config)}
		}
		if o.Keep == 0 {
			o.Keep = cfg.Backup.Keep
		}
	}
	s, err := store.OpenReadOnly(e.ctx, cfg.Store.Path, store.Options{Log: e.log})
	if err != nil {
		return err
	}
	defer s.Close()
	file, gone := to, []string(nil)
	if st, e2 := os.Stat(to); e2 == nil && st.IsDir() || c.To == "" {
		file, gone, err = s.Backup(e.ctx, to, o)
	} else {
		err = s.BackupFile(e.ctx, to)
	}
	if err != nil {
		return err
	}
	if c.JSON {
		return json.NewEncoder(e.out).Encode(struct {
			File    string   `json:"file"`
			Removed []string `json:"removed"`
		}{file, append([]string{}, gone...)})
	}
	for _, old := range gone {
		fmt.Fprintln(e.err, "removed", old)
	}
	_, err = fmt.Fprintln(e.out, file)
	return err
}
