package page

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"net"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"fabricpot/cmd/gateway/internal/expose"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

const space = "fabricpot"

// newMetrics makes the handler of /metrics.
func (p *Page) newMetrics() http.Handler {
	g := newGauges(p.o.Gateway, &p.watch, p.o.Disk)
	g.ways = p.o.Ways
	return expose.Handler(func(f *expose.Figures) {
		g.collect(f)
		expose.Runtime(f)
		expose.Process(f)
	}, 4, 10*time.Second)
}

// gauges turn the last published Status into metrics when they are asked for.
type gauges struct {
	g     Gateway
	watch *watch
	disk  func() (free, total uint64, err error)
	ways  func() []Way
	d     map[string]*expose.Desc
}

func newGauges(g Gateway, w *watch, disk func() (uint64, uint64, error)) *gauges {
	c := &gauges{g: g, watch: w, disk: disk, d: map[string]*expose.Desc{}}
	add := func(name, help string, labels ...string) {
		kind := expose.Gauge
		if strings.HasSuffix(name, "_total") {
			kind = expose.Counter
		}
		c.d[name] = &expose.Desc{Name: space + "_" + name, Help: help, Kind: kind, Labels: labels}
	}
	add("probe_success", "Whether the probe's last reading is good (1) or not (0).", "probe", "zone")
	add("probe_quality", "The probe's last reading: 2 good, 1 uncertain, 0 bad.", "probe", "zone")
	add("probe_water_ratio", "Water content at the probe's depth, volume of water per volume of mix; absent where the reading is bad.", "probe", "zone")
	add("probe_volts", "The probe's output.", "probe", "zone")
	add("probe_age_seconds", "Age of the probe's last reading when the round was taken.", "probe", "zone")
	add("probe_read_seconds", "How long the probe's last conversion took.", "probe", "zone")
	add("probe_temperature_celsius", "Temperature of the mix at the probe.", "probe", "zone")
	add("converter_up", "Whether the converter answers.", "bus", "address")
	add("converter_conversions_total", "Conversions asked of the converter since the start.", "bus", "address")
	add("converter_conversion_failures_total", "Conversions that failed since the start.", "bus", "address")
	add("converter_read_seconds", "How long the slowest of the converter's last conversions took.", "bus", "address")
	add("zone_water_ratio", "Mean water content of the root zone; absent where it is not known.", "zone")
	add("zone_water_litres", "Water held by the root zone.", "zone")
	add("zone_capacity_litres", "Water held by the root zone when drained.", "zone")
	add("zone_refill_litres", "Water held by the root zone at its refill point.", "zone")
	add("zone_refill_eta_seconds", "Expected time until the zone reaches its refill point.", "zone")
	add("zone_state", "What the zone is doing: 1 for the state that holds.", "zone", "state")
	add("zone_salts_millisiemens_per_centimetre", "Conductivity that the salts of the supply's water, and dissolved food, give the water of the drained root zone; absent where no account is kept.", "zone")
	add("zone_salts_wash_millisiemens_per_centimetre", "The same from which on they are washed out.", "zone")
	add("zone_probe_trusted", "Whether a trustworthy probe stands behind the zone's water.", "zone")
	add("line_open", "Whether the line is open.", "line")
	add("line_closed_confirmed", "Whether the line is known to be closed.", "line")
	add("line_success", "Whether the line's driver works: 0 after an error.", "line")
	add("line_last_pulse_seconds", "How long the line was last open.", "line")
	add("line_last_pulse_age_seconds", "Time since the line's last pulse ended.", "line")
	add("line_day_litres", "Water charged to the line in the last 24 hours.", "line")
	add("line_day_limit_litres", "The most the line may give in 24 hours.", "line")
	add("alarm_raised", "Alarms that are raised or not yet seen, by name and what they are about.", "alarm", "about")
	add("message_success", "Whether the last message by the way was taken: 0 after a failure.", "way")
	add("message_last_sent_timestamp_seconds", "When a message was last taken, Unix time.", "way")
	add("messages_sent_total", "Messages taken since the start.", "way")
	add("messages_lost_total", "Messages given up or dropped since the start.", "way")
	add("automatic", "Whether automatic control is on.")
	add("clock_confirmed", "Whether the wall clock was confirmed.")
	add("disk_free_bytes", "Free space where the journal is.")
	add("rounds_total", "Rounds of sampling and deciding since the start.")
	add("round_age_seconds", "Time since the last round came in.")
	return c
}

func (c *gauges) collect(f *expose.Figures) {
	st := c.g.Status()
	quiet := c.watch.quiet(st)
	if st == nil {
		return
	}
	put := func(name string, v float64, labels ...string) {
		if garden.Finite(v) {
			f.Add(c.d[name], v, labels...)
		}
	}
	may := func(name string, v *float64, labels ...string) {
		if v != nil {
			put(name, *v, labels...)
		}
	}
	c.sendWays(put)
	put("automatic", flag(st.Automatic))
	put("clock_confirmed", flag(st.Synced))
	put("round_age_seconds", quiet.Seconds())
	if c.disk != nil {
		if free, _, err := c.disk(); err == nil {
			put("disk_free_bytes", float64(free))
		}
	}
	put("rounds_total", float64(st.Ticks))
	for i := range st.Zones {
		z := &st.Zones[i]
		id := string(z.Zone)
		may("zone_water_ratio", z.Water, id)
		may("zone_water_litres", z.HeldL, id)
		put("zone_capacity_litres", z.CapacityL, id)
		put("zone_refill_litres", z.RefillL, id)
		if z.HoursLeft != nil {
			put("zone_refill_eta_seconds", *z.HoursLeft*3600, id)
		}
		if s := z.TapSalts; s != nil {
			put("zone_salts_millisiemens_per_centimetre", s.MS, id)
			put("zone_salts_wash_millisiemens_per_centimetre", s.WashAtMS, id)
		}
		put("zone_probe_trusted", flag(z.Trusted), id)
		for s := garden.Resting; s <= garden.KeptShut; s++ {
			put("zone_state", flag(z.State == s.String()), id, s.String())
		}
		for k := range z.Probes {
			c.probe(put, may, &z.Probes[k], id)
		}
	}
	for i := range st.Lines {
		l := &st.Lines[i]
		id := string(l.Line)
		put("line_open", flag(l.Open), id)
		put("line_closed_confirmed", flag(l.Confirmed), id)
		put("line_success", flag(l.Trouble == ""), id)
		may("line_last_pulse_seconds", l.LastPulseS, id)
		if l.LastPulseAt != nil {
			put("line_last_pulse_age_seconds", st.At.Sub(*l.LastPulseAt).Seconds(), id)
		}
		put("line_day_litres", l.TodayL, id)
		put("line_day_limit_litres", l.CapL, id)
	}
	c.converters(put, may, st)
	seen := map[[2]string]bool{}
	for _, a := range st.Alarms {
		if k := [2]string{a.Name, a.About}; !seen[k] && !a.Rests() {
			seen[k] = true
			put("alarm_raised", 1, a.Name, a.About)
		}
	}
}

func (c *gauges) probe(put func(string, float64, ...string), may func(string, *float64, ...string), pr *runner.ProbeStatus, zone string) {
	id := string(pr.Probe)
	quality := 0.0
	for _, q := range []garden.Quality{garden.Uncertain, garden.Good} {
		if pr.Quality == q.String() {
			quality = float64(q)
		}
	}
	put("probe_success", flag(pr.Quality == garden.Good.String()), id, zone)
	put("probe_quality", quality, id, zone)
	may("probe_water_ratio", pr.Water, id, zone)
	put("probe_volts", pr.Volts, id, zone)
	put("probe_age_seconds", pr.AgeS, id, zone)
	may("probe_read_seconds", pr.ReadS, id, zone)
	may("probe_temperature_celsius", pr.TempC, id, zone)
}

func (c *gauges) converters(put func(string, float64, ...string), may func(string, *float64, ...string), st *runner.Status) {
	for i := range st.Converters {
		k := &st.Converters[i]
		labels := []string{k.Bus, sprintf("%#x", k.Address)}
		put("converter_up", flag(k.Answers), labels...)
		may("converter_read_seconds", k.ReadS, labels...)
		put("converter_conversions_total", float64(k.Conversions), labels...)
		put("converter_conversion_failures_total", float64(k.Failed), labels...)
	}
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// scrapers remember which credentials of metrics collectors were right, so that
// a scrape does not cost a password check each time.
type scrapers struct {
	key  [32]byte
	mu   sync.Mutex
	good map[[32]byte]bool
}

const maxScrapers = 8

func newScrapers() *scrapers {
	s := &scrapers{good: map[[32]byte]bool{}}
	rand.Read(s.key[:])
	return s
}

func (s *scrapers) sum(password string) [32]byte {
	m := hmac.New(sha256.New, s.key[:])
	m.Write([]byte(password))
	return [32]byte(m.Sum(nil))
}

// scraper admits a collector of metrics: one on this machine, or one that
// brings a password as HTTP basic authentication, the guest's or the owner's.
func (p *Page) scraper(w http.ResponseWriter, r *http.Request) bool {
	if host, _, err := net.SplitHostPort(r.RemoteAddr); err == nil && net.ParseIP(host).IsLoopback() {
		return true
	}
	_, password, ok := r.BasicAuth()
	if ok {
		s := p.scrapers
		sum := s.sum(password)
		s.mu.Lock()
		known := s.good[sum]
		s.mu.Unlock()
		if known {
			return true
		}
		who, wait, err := p.verify(r, password)
		if who != nobody && err == nil {
			s.mu.Lock()
			if len(s.good) < maxScrapers {
				s.good[sum] = true
			}
			s.mu.Unlock()
			return true
		}
		if wait > 0 {
			w.Header().Set("Retry-After", strconv.Itoa(int(wait.Seconds())+1))
			http.Error(w, sprintf(tSlow, span(wait)), http.StatusTooManyRequests)
			return false
		}
	}
	w.Header().Set("WWW-Authenticate", `Basic realm="metrics", charset="UTF-8"`)
	http.Error(w, tSignIn, http.StatusUnauthorized)
	return false
}
