package store

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/jackc/pgx/v5"
)

// File is an original file that a job's evidence rests on, kept unchanged.
type File struct {
	ID        string
	JobID     int64
	Name      string // as the sender called it
	MediaType string
	Size      int64 // bytes
	SHA256    []byte
	At        time.Time
	By        int64
}

// NewFile is a file to be kept. It may be sent any number of times and is taken
// once.
type NewFile struct {
	ID        string // UUID
	JobID     int64
	Name      string
	MediaType string
}

// MaxFile is the size of the largest file that is kept, in bytes.
const MaxFile = 200 << 20

// chunkSize is how a file is cut up in the database.
const chunkSize = 512 << 10

const fileColumns = `f.id::text, f.job_id, f.name, f.media_type, f.size, f.sha256, f.at, f.by`

// AddFile keeps a file as it comes from r, in constant memory. It holds a
// connection meanwhile, so r should not be a slow network.
func (s *Store) AddFile(ctx context.Context, by int64, n NewFile, r io.Reader) (file File, err error) {
	err = s.write(ctx, func(tx pgx.Tx, now time.Time) error {
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended($1, 0))`, n.ID); err != nil {
			return err
		}
		known, err := many[File](ctx, tx, `SELECT `+fileColumns+` FROM files f WHERE id = $1::text::uuid`, n.ID)
		if err != nil {
			return err
		}
		sum := sha256.New()
		var size int64
		buf := make([]byte, chunkSize)
		for i := 0; ; i++ {
			got, err := io.ReadFull(r, buf)
			if got == 0 && errors.Is(err, io.EOF) {
				break
			}
			if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
				return fmt.Errorf("read the file: %w", err)
			}
			sum.Write(buf[:got])
			if size += int64(got); size > MaxFile {
				return refusal(Rule, "files_size_range")
			}
			if len(known) == 0 {
				if _, err := tx.Exec(ctx, `INSERT INTO file_chunks VALUES ($1::text::uuid, $2, $3)`, n.ID, i, buf[:got]); err != nil {
					return err
				}
			}
			if err != nil {
				break
			}
		}
		if len(known) > 0 {
			file = known[0]
			if file.JobID != n.JobID || string(file.SHA256) != string(sum.Sum(nil)) {
				return refusal(Conflict, "files_pkey")
			}
			return nil
		}
		file, err = one[File](ctx, tx, `
			INSERT INTO files AS f (id, job_id, name, media_type, size, sha256, at, by)
			VALUES ($1::text::uuid, $2, $3, $4, $5, $6, $7, $8) RETURNING `+fileColumns,
			n.ID, n.JobID, n.Name, n.MediaType, size, sum.Sum(nil), now, by)
		return err
	})
	return file, err
}

// Files lists a job's files in the order they came.
func (s *Store) Files(ctx context.Context, jobID int64) ([]File, error) {
	return many[File](ctx, s.pool, `SELECT `+fileColumns+` FROM files f WHERE job_id = $1 ORDER BY at, id`, jobID)
}

// OpenFile returns a file and its content. The content is read from the
// database as it is asked for, with ctx, and holds no connection in between.
func (s *Store) OpenFile(ctx context.Context, id string) (File, *io.SectionReader, error) {
	f, err := one[File](ctx, s.pool, `SELECT `+fileColumns+` FROM files f WHERE id = $1::text::uuid`, id)
	if err != nil {
		return f, nil, err
	}
	return f, io.NewSectionReader(&chunks{ctx: ctx, s: s, id: id, n: -1}, 0, f.Size), nil
}

// chunks reads a file of the database. It remembers the last chunk, and so is
// not for concurrent use.
type chunks struct {
	ctx  context.Context // of OpenFile, whose reads these are
	s    *Store
	id   string
	n    int
	data []byte
}

// ReadAt is called by the SectionReader, which keeps off within the file.
func (c *chunks) ReadAt(p []byte, off int64) (read int, err error) {
	for read < len(p) {
		at := off + int64(read)
		if n := int(at / chunkSize); n != c.n {
			data, err := value[[]byte](c.ctx, c.s.pool, `SELECT data FROM file_chunks WHERE file_id = $1::text::uuid AND n = $2`, c.id, n)
			if errors.Is(err, ErrNotFound) {
				return read, io.EOF
			}
			if err != nil {
				return read, err
			}
			c.n, c.data = n, data
		}
		got := copy(p[read:], c.data[min(int64(len(c.data)), at%chunkSize):])
		if got == 0 {
			return read, io.EOF
		}
		read += got
	}
	return read, nil
}
