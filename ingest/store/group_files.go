package store

import (
	"context"
	"time"
)

// HandedFile is a file that was handed in for a shop.
type HandedFile struct {
	ID         int64
	Shop, File string
	Said       string // what became of it; empty while it waits
}

// HandIn keeps a file that is to be taken in for a shop, and gives its number.
func (g *Group) HandIn(ctx context.Context, shop, file string, content []byte) (id int64, err error) {
	err = g.own.GetContext(ctx, &id, "INSERT INTO handed_in(shop, file, content) VALUES(?, ?, ?) RETURNING id", shop, file, content)
	return id, wrap(err)
}

// HandedIn gives a file that was handed in, or what became of it, which then
// isn't empty.
func (g *Group) HandedIn(ctx context.Context, id int64) (shop, file string, content []byte, said string, err error) {
	err = g.own.QueryRowContext(ctx, "SELECT shop, file, content, said FROM handed_in WHERE id = ?", id).Scan(&shop, &file, &content, &said)
	return shop, file, content, said, wrap(err)
}

// TakenIn keeps what became of a file, and no longer its content.
func (g *Group) TakenIn(ctx context.Context, id int64, said string) error {
	_, err := g.own.ExecContext(ctx, "UPDATE handed_in SET content = NULL, said = ? WHERE id = ?", said, id)
	return wrap(err)
}

// HandedFiles gives a shop's newest files that were handed in, so many at most.
func (g *Group) HandedFiles(ctx context.Context, shop string, most int) (all []HandedFile, err error) {
	err = g.own.SelectContext(ctx, &all, "SELECT id, shop, file, said FROM handed_in WHERE shop = ? ORDER BY id DESC LIMIT ?", shop, most)
	return all, wrap(err)
}

// WaitingFiles gives all shops' files that aren't taken in yet, by shop and the
// oldest first.
func (g *Group) WaitingFiles(ctx context.Context) (all []HandedFile, err error) {
	err = g.own.SelectContext(ctx, &all, "SELECT id, shop, file, said FROM handed_in WHERE said = '' ORDER BY shop, id")
	return all, wrap(err)
}

// fileStep begins the name of a file's failure.
const fileStep = "The file "

// FileFailure is why a file that was handed in isn't in. It ends when a file of
// that name is taken in, by whatever way, or with ForgetFileFailures.
func FileFailure(file, said string, at time.Time) Failure { return Failure{fileStep + file, said, at} }

// ForgetFileFailures ends files' failures that began before a moment: who saw
// them all that time wants the file no more.
func (s *Store) ForgetFileFailures(ctx context.Context, before time.Time) error {
	_, err := s.exec(ctx, "DELETE FROM failures WHERE step LIKE '"+fileStep+"%' AND at < ?", instant(before))
	return err
}
