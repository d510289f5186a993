package page

import (
	"net/http"
	"strconv"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

// plantModel asks for what an event needs, or shows what it changes.
type plantModel struct {
	Name, Path, Key, Title string
	// What the form asks for.
	Shares, Crops, Exposures, Stages []choice
	ShareLabel, LitresLabel, Unit    string
	Count                            bool
	Earliest, Today                  string
	// Set once it is filled in: what it was, what it changes and from when.
	What, From, Changes string
	Fields              []pair
	Ticket              string
}

// plantKinds are the events of the page in the order of a season.
func plantKinds() []garden.PlantEventKind {
	return []garden.PlantEventKind{garden.Planted, garden.SeenAt, garden.Pruned, garden.Harvested, garden.Mulched, garden.ToppedUp, garden.Moved, garden.Pulled}
}

// plantKey is an event's name in an address.
func plantKey(k garden.PlantEventKind) string { return strings.ReplaceAll(k.String(), " ", "-") }

// plantForm asks for an event's figures, and once they are there shows what it
// changes; it changes nothing itself.
func (p *Page) plantForm(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ref, ok := p.find(w, r, v)
	if !ok {
		return
	}
	back := potPath(ref.zone.ID)
	kind, known := garden.PlantEventNamed(r.URL.Query().Get("event"))
	if !known || p.o.Plants == nil {
		p.refuse(w, r, v, fault{http.StatusBadRequest, tErrChoice, tErrChoiceTx + " " + tNothing, back, tBackPot})
		return
	}
	m := p.plantModel(ref, kind, st, v)
	if r.URL.Query().Get("go") == "" {
		p.show(w, r, http.StatusOK, plantPage(v, m))
		return
	}
	e, why := readPlant(r.URL.Query().Get, ref, kind, st.At)
	if why != "" {
		p.refusePlant(w, r, v, why, m)
		return
	}
	m.What, m.From = capital(e.String()), tFromToday
	if !e.On.IsZero() {
		m.From = sprintf(tFromDay, e.On.Format("Monday 2 January 2006"))
	}
	m.Changes = plantChanges(&e, ref, st, v)
	m.Fields = plantFields(&e)
	m.Ticket = p.tickets.issue(v.session, plantPurpose(&e))
	p.show(w, r, http.StatusOK, plantSurePage(v, m))
}

// plantDone enters a confirmed event by the way the plant command takes.
func (p *Page) plantDone(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ref, ok := p.find(w, r, v)
	if !ok {
		return
	}
	back := potPath(ref.zone.ID)
	kind, known := garden.PlantEventNamed(r.PostForm.Get("event"))
	if !known || p.o.Plants == nil {
		p.refuse(w, r, v, fault{http.StatusBadRequest, tErrChoice, tErrChoiceTx + " " + tNothing, back, tBackPot})
		return
	}
	e, why := readPlant(r.PostForm.Get, ref, kind, st.At)
	if why != "" {
		p.refusePlant(w, r, v, why, p.plantModel(ref, kind, st, v))
		return
	}
	if !p.spend(w, r, v, plantPurpose(&e), back) {
		return
	}
	ctx, cancel := within(r.Context())
	defer cancel()
	stands, err := p.o.Plants.Plant(ctx, e, who)
	if err != nil {
		p.failed(w, r, v, err, back)
		return
	}
	said := sprintf(tPlantDone, capital(e.String()))
	if stands {
		said += " " + tChStands
	}
	p.done(w, r, back, said)
}

func (p *Page) refusePlant(w http.ResponseWriter, r *http.Request, v *visit, why string, m plantModel) {
	p.refuse(w, r, v, fault{http.StatusBadRequest, tErrPlant, why + " " + tNothing, m.Path + "/plant?event=" + m.Key, tBack})
}

func (p *Page) plantModel(ref zoneRef, kind garden.PlantEventKind, st *runner.Status, v *visit) plantModel {
	m := plantModel{
		Name: p.nameOf(st, ref.zone.ID), Path: potPath(ref.zone.ID), Key: plantKey(kind), Title: plantTitle(kind),
		Earliest: st.At.Add(-garden.OldestPlantEvent).Format(time.DateOnly), Today: st.At.Format(time.DateOnly),
	}
	switch kind {
	case garden.Mulched, garden.ToppedUp, garden.Moved:
	default:
		if len(ref.zone.Plants) > 1 {
			m.Crops = []choice{{"", tAllPlants}}
			for _, pl := range ref.zone.Plants {
				m.Crops = append(m.Crops, choice{pl.Crop, capital(pl.Crop)})
			}
		}
	}
	switch kind {
	case garden.Planted:
		m.Count = true
	case garden.Pruned:
		m.ShareLabel, m.Shares = tLeavesOff, shareChoices(10, 20, 30, 50, 70)
	case garden.Harvested:
		m.ShareLabel, m.Shares = tLeavesWith, shareChoices(0, 10, 20, 30, 50, 70)
	case garden.Mulched:
		m.ShareLabel, m.Shares = tCovered, shareChoices(100, 75, 50, 25, 0)
	case garden.ToppedUp:
		m.LitresLabel, m.Unit = sprintf(tMixAdded, v.volumeUnit()), v.volumeUnit()
	case garden.Moved:
		m.Exposures = []choice{{string(garden.Sheltered), tSheltered}, {string(garden.OpenAir), tOpenAir}, {string(garden.WindyPaved), tWindyPaved}}
	case garden.SeenAt:
		m.Stages = []choice{{"growing", tGrowing}, {"flowering", tFlowering}, {"fruiting", tFruiting}, {"ripening", tRipening}}
	}
	return m
}

func shareChoices(percents ...int) []choice {
	var out []choice
	for _, n := range percents {
		out = append(out, choice{strconv.Itoa(n), sprintf("%d"+apart+"%%", n)})
	}
	return out
}

// readPlant reads an event; why says what is wrong with it.
func readPlant(get func(string) string, ref zoneRef, kind garden.PlantEventKind, now time.Time) (e garden.PlantEvent, why string) {
	e = garden.PlantEvent{Kind: kind, Zone: ref.zone.ID, Crop: get("crop")}
	if e.Crop != "" {
		known := false
		for _, pl := range ref.zone.Plants {
			known = known || pl.Crop == e.Crop
		}
		if !known {
			return e, sprintf(tErrCrop, brief(e.Crop))
		}
	}
	if on := get("on"); on != "" && on != now.Format(time.DateOnly) {
		day, err := time.ParseInLocation(time.DateOnly, on, now.Location())
		if err != nil || day.After(now) || day.Before(now.Add(-garden.OldestPlantEvent)) {
			return e, sprintf(tErrDay, brief(on))
		}
		// Noon, as the command has it.
		e.On = day.Add(12 * time.Hour)
	}
	switch kind {
	case garden.Pruned, garden.Harvested, garden.Mulched:
		n, err := strconv.Atoi(get("share"))
		if err != nil || n < 0 || n > 100 || kind == garden.Pruned && n == 0 {
			return e, sprintf(tErrShare, brief(get("share")))
		}
		e.Share = float64(n) / 100
	case garden.Planted:
		if c := strings.TrimSpace(get("count")); c != "" {
			n, err := strconv.Atoi(c)
			if err != nil || n < 1 || n > 500 {
				return e, sprintf(tErrCount, brief(c))
			}
			e.Count = n
		}
	case garden.ToppedUp:
		litres, ok := amount(get("litres"), get("unit"), ref.zone.VolumeL(ref.pot))
		if !ok {
			return e, sprintf(tErrMix, brief(get("litres")))
		}
		e.Litres = litres
	case garden.Moved:
		e.Exposure = garden.Exposure(get("exposure"))
	case garden.SeenAt:
		e.Stage = get("stage")
	}
	if len(e.Stage) > 40 || e.Check() != nil {
		return e, tErrChoiceTx
	}
	return e, ""
}

// plantFields are the event as a form hands it on.
func plantFields(e *garden.PlantEvent) []pair {
	out := []pair{{"event", plantKey(e.Kind)}, {"crop", e.Crop}}
	add := func(name, value string) { out = append(out, pair{name, value}) }
	if !e.On.IsZero() {
		add("on", e.On.Format(time.DateOnly))
	}
	switch e.Kind {
	case garden.Pruned, garden.Harvested, garden.Mulched:
		add("share", sprintf("%.0f", 100*e.Share))
	case garden.Planted:
		if e.Count > 0 {
			add("count", strconv.Itoa(e.Count))
		}
	case garden.ToppedUp:
		add("litres", formLitres(e.Litres))
		add("unit", "L")
	case garden.Moved:
		add("exposure", string(e.Exposure))
	case garden.SeenAt:
		add("stage", e.Stage)
	}
	return out
}

// plantPurpose binds a ticket to what was shown.
func plantPurpose(e *garden.PlantEvent) string {
	words := []string{"plant", string(e.Zone)}
	for _, f := range plantFields(e) {
		words = append(words, f.Name+"="+f.Value)
	}
	return strings.Join(words, " ")
}

// plantChanges says what an event changes.
func plantChanges(e *garden.PlantEvent, ref zoneRef, st *runner.Status, v *visit) string {
	switch e.Kind {
	case garden.Planted:
		return tChPlanted
	case garden.Pruned:
		return sprintf(tChPruned, 100*e.Share)
	case garden.Harvested:
		if e.Share == 0 {
			return tChPicked
		}
		return sprintf(tChPruned, 100*e.Share)
	case garden.Pulled:
		if ref.zone.Outlives(e, st.At) {
			return tChStands
		}
		for i := range ref.zone.Plants {
			if e.Crop != "" && !strings.EqualFold(ref.zone.Plants[i].Crop, e.Crop) {
				return tChPulledSome
			}
		}
		if sharesLine(st, e.Zone) {
			return tChPulledOn
		}
		return tChPulled
	case garden.Mulched:
		if e.Share == 0 {
			return tChBare
		}
		return sprintf(tChMulched, 100*e.Share)
	case garden.ToppedUp:
		if e.AllNew(ref.zone.VolumeL(ref.pot)) {
			return sprintf(tChToppedUp, v.volume(e.Litres)) + " " + tChNewMix
		}
		if len(ref.zone.Probes) > 0 {
			return sprintf(tChToppedUp, v.volume(e.Litres)) + " " + tChDeeper
		}
		return sprintf(tChToppedUp, v.volume(e.Litres))
	case garden.Moved:
		return map[garden.Exposure]string{garden.Sheltered: tChSheltered, garden.OpenAir: tChOpen, garden.WindyPaved: tChWindy}[e.Exposure]
	}
	return sprintf(tChSeen, e.Stage)
}
