package app

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"runtime"
	"slices"
	"sync"

	"leafturn/internal/assess"
	"leafturn/internal/civil"
	"leafturn/internal/farm"
	"leafturn/internal/report"
	"leafturn/internal/store"
)

// parts are what week's lists are made from piece by piece: how pests clump on
// this farm, the verdict on each bed and pest, how many more units would settle
// it, and what the forecast says of it. Each is known by a hash of all that it
// was made from, so after one new count one bed and pest is worked out anew, and
// of the other visits not even the counts are read.
type parts struct {
	*partFile
	ctx     context.Context
	a       *App
	on      civil.Date // the day of the list
	beliefs *savedBeliefs
	counts  *savedCounts
	rows    *savedRows
	seasons map[farm.Season]*bareSeason
	around  []byte // a hash of all but the visits

	reading  sync.Mutex // over seasons and around
	counting sync.Mutex // over what is counted of the seasons
}

// bareSeason is the visits of a season without their counts, by date, bed, pest
// and number, and those of which the counts were read.
type bareSeason struct {
	visits  visits
	bare    map[int64]*store.Bare
	counted map[int64]*farm.Visit
	many    bool // of them were asked for at once
}

// read reads the visits of a season without their counts, and what else the store
// holds.
func (p *parts) read(tx *store.Tx, year farm.Season) (visits, error) {
	p.reading.Lock()
	defer p.reading.Unlock()
	if s := p.seasons[year]; s != nil {
		return s.visits, nil
	}
	rows, err := p.rows.read(tx, year)
	if err != nil {
		return visits{}, err
	}
	if p.journal == nil {
		journal, err := journalOf(tx)
		if err != nil {
			return visits{}, err
		}
		for _, f := range []*partFile{p.partFile, p.counts.partFile} {
			if err := f.of(tx, journal); err != nil {
				return visits{}, err
			}
		}
	}
	p.around = rows.around
	list, err := tx.Bare(rows.text)
	if err != nil {
		return visits{}, err
	}
	s := &bareSeason{bare: make(map[int64]*store.Bare, len(list)), counted: map[int64]*farm.Visit{}}
	order := make([]*store.Bare, len(list)) // moved about more quickly than visits
	for i := range list {
		order[i] = &list[i]
	}
	slices.SortFunc(order, func(x, y *store.Bare) int { return byDate(&x.Visit, &y.Visit) })
	all := make([]farm.Visit, len(list))
	virus := []int64{}
	for i, b := range order {
		all[i] = b.Visit
		s.bare[all[i].ID] = b
		if all[i].Pest == "tospovirus" { // levels depend on it
			virus = append(virus, all[i].ID)
		}
	}
	if len(virus) > 0 {
		counted, err := tx.VisitsOf(virus)
		if err != nil {
			return visits{}, err
		}
		for i := range counted {
			s.counted[counted[i].ID] = &counted[i]
		}
		for i := range all {
			if v, ok := s.counted[all[i].ID]; ok {
				all[i] = *v
			}
		}
	}
	s.visits = visits{}.with(all)
	p.seasons[year] = s
	return s.visits, nil
}

// season is what read has read of a season.
func (p *parts) season(year farm.Season) *bareSeason {
	p.reading.Lock()
	defer p.reading.Unlock()
	return p.seasons[year]
}

// manyVisits is from how many on their counts are saved, and read on all cores.
const manyVisits = 250

// count gives visits of a season their counts.
func (p *parts) count(year farm.Season, lists ...*[]farm.Visit) error {
	p.counting.Lock()
	defer p.counting.Unlock()
	s := p.season(year)
	var ids []int64
	for _, list := range lists {
		for i := range *list {
			if id := (*list)[i].ID; s.counted[id] == nil {
				ids = append(ids, id)
			}
		}
	}
	if s.many = s.many || len(ids) >= manyVisits; s.many {
		ids = p.counts.all(s, ids)
	}
	read, err := p.readVisits(ids)
	if err != nil {
		return err
	}
	for i := range read {
		v := &read[i]
		s.counted[v.ID] = v
		if s.many {
			p.counts.put(s.bare[v.ID], v)
		}
	}
	for _, list := range lists {
		out := make([]farm.Visit, len(*list))
		for i := range *list {
			v := s.counted[(*list)[i].ID]
			if v == nil {
				return fmt.Errorf("visit %d is no longer there", (*list)[i].ID)
			}
			out[i] = *v
		}
		*list = out
	}
	return nil
}

// readVisits reads visits whole, many of them on all cores: the counts of a visit
// never change, so that it does not matter if the store does in between.
func (p *parts) readVisits(ids []int64) ([]farm.Visit, error) {
	if len(ids) == 0 {
		return nil, nil
	}
	slices.Sort(ids) // those that lie side by side are read together
	each := len(ids)
	if each >= manyVisits {
		each = (each + runtime.GOMAXPROCS(0) - 1) / runtime.GOMAXPROCS(0)
	}
	chunks := slices.Collect(slices.Chunk(ids, each))
	read := make([][]farm.Visit, len(chunks))
	err := inParallel(len(chunks), func(i int) error {
		return p.a.st.View(p.ctx, func(tx *store.Tx) (err error) {
			read[i], err = tx.VisitsOf(chunks[i])
			return err
		})
	})
	return slices.Concat(read...), err
}

// rows hashes what the store holds of visits.
func (s *bareSeason) rows(list []farm.Visit) []byte {
	h, row := sha256.New(), []byte(nil)
	for i := range list {
		row = append(append(row[:0], s.bare[list[i].ID].Row...), '\n')
		h.Write(row)
	}
	return h.Sum(nil)
}

// counted is how many units of a visit were looked at, and the animals on them.
func (s snapshot) counted(v farm.Visit) (n, total int) {
	if s.parts != nil {
		b := s.parts.season(s.year).bare[v.ID]
		return b.N, int(b.Sum)
	}
	for _, c := range v.Seen() {
		n, total = n+1, total+c
	}
	return n, total
}

// partLaws are the laws of a pest by its visits of a season up to a day.
type partLaws struct {
	p      *parts
	visits []farm.Visit

	once   sync.Once
	before map[int][]byte // a hash of the first so many visits, wherever a day begins
}

func (l *partLaws) hash() {
	l.before = map[int][]byte{}
	h := sha256.New()
	season, row := l.p.season(l.year()), []byte(nil)
	for i, v := range l.visits {
		if i == 0 || v.Date != l.visits[i-1].Date {
			l.before[i] = h.Sum(nil)
		}
		row = append(append(row[:0], season.bare[v.ID].Row...), '\n')
		h.Write(row)
	}
	l.before[len(l.visits)] = h.Sum(nil)
}

func (l *partLaws) key(u assess.Unit, week civil.Date) (partKey, error) {
	unit, err := report.Keep(u)
	if err != nil {
		return partKey{}, err
	}
	n, _ := slices.BinarySearchFunc(l.visits, week, func(v farm.Visit, d civil.Date) int { return v.Date.Compare(d) })
	l.once.Do(l.hash)
	rows := l.before[n]
	return l.p.key("law", unit, rows), nil
}

// Get is of assess.Laws.
func (l *partLaws) Get(u assess.Unit, week civil.Date) (law assess.Law, ok bool) {
	key, err := l.key(u, week)
	return law, err == nil && l.p.get(key, &law)
}

// Put is of assess.Laws.
func (l *partLaws) Put(u assess.Unit, week civil.Date, law assess.Law) {
	if key, err := l.key(u, week); err == nil {
		l.p.put(key, law)
	}
}

// Counted is of assess.Laws.
func (l *partLaws) Counted() ([]farm.Visit, error) {
	list := l.visits
	err := l.p.count(l.year(), &list)
	return list, err
}

func (l *partLaws) year() farm.Season { return l.p.a.farm.Season(l.visits[0].Date) }

// growsBytes writes rates of growth down.
func growsBytes(g assess.Grows) []byte {
	days := make([]civil.Date, 0, len(g))
	for d := range g {
		days = append(days, d)
	}
	slices.SortFunc(days, civil.Date.Compare)
	var b bytes.Buffer
	for _, d := range days {
		fmt.Fprintln(&b, d, g[d])
	}
	return b.Bytes()
}
