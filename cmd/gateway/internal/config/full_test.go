package config_test

// full uses every key of the garden file at least once; TestEveryKey proves it.
const full = `site:
  name: Full
  id: full-site
  latitude: 33.9 S
  longitude: 18.4 E
  elevation: 328.0839895 ft
  time-zone: Africa/Johannesburg
  coastal: yes
sample-every: 30 s
stages-by-heat: yes
mixes:
  vg:
    name: Van Genuchten's
    illustrative: yes
    retention:
      model: van-genuchten
      theta-r: 10 %
      theta-s: 0.88 m3/m3
      alpha: 15 /m
      n: 1.6
      conductivity: 720 cm/d
    calibration:
      method: interpolated
      points:
        - volts: 2500 mV
          water: 10 %
        - volts: 2 V
          water: 30 %
        - volts: 1.3 V
          water: 60 %
      offset: -1 %
      temperature-coefficient: 0.1 %/°C
      temperature-reference: 77 °F
    starter:
      nitrogen: 250 mg/L
      phosphorus: 60 mg/L
      potassium: 0.2 g/L
  bc:
    retention:
      model: brooks-corey
      theta-r: 5 %
      theta-s: 60 %
      air-entry: 4 cm
      lambda: 0.5
    calibration:
      method: linear
      slope: -40 %/V
      intercept: 110 %
crops:
  sorrel:
    kc-initial: 0.7
    kc-mid: 1
    kc-end: 0.9
    stages: [20 d, 30 d, 40 d, 10 d]
    depletion: 20 %
    height: 30 cm
    canopy: 900 cm2
products:
  blue:
    name: Blue crystals
    form: soluble
    label: 20-10-20
    conductivity-per-100-ppm: 0.6 mS/cm
    brings: [phosphate]
    solubility: 350 g/L
  fish:
    form: particulate
    label: 4-1.5-1
    density: 1.1 kg/L
hose: 12 L/min
pots:
  big:
    name: Big
    mix: vg
    size:
      volume: 30 gal
      top-diameter: 60 cm
      bottom-diameter: 50 cm
    exposure: windy-paved
    capacity: 50 %
    leaching: 12 %
    zones:
      left:
        name: Left half
        share: 60 %
        plants:
          - crop: aubergine
            count: 2
            planted: 2026-04-15
            canopy: 0.4 m2
        probes:
          top:
            depth: 4 in
            input: i2c-0/0x4B/3
            offset: 2 %
          deep:
            depth: 40 cm
            input: 0x48/1
            calibration:
              method: least-squares
              points:
                - { volts: 2.5 V, water: 10 % }
                - { volts: 1.3 V, water: 60 % }
          low:
            depth: 30 cm
            input: 0x48/2
            calibration:
              file: testdata/bark.calibration.yaml
        thermometer: 28-0316a2794bff
        lower-limit: 25 %
        refill: 40 %
        stop: 49 %
        feed:
          products:
            - product: blue
              share: 70 %
            - { product: fish, share: 30 % }
          strength: 150 ppm
          full-strength: yes
          every: 10 d
          dose: 1 gal
          secondary: no
          yield: 3 kg
      right:
        share: 40 %
        exposure: sheltered
        hand-tended: yes
        leaching: 0 %
        plants:
          - crop: sorrel
  small:
    mix: bc
    size: { diameter: 14 in, height: 12 in }
    plants:
      - crop: Eggplant
  third:
    mix: bc
    size: 30 L
    plants:
      - crop: Eggplant
    feed: { products: [blue], every-watering: 50 ppm }
    probes:
      far:
        depth: 20 cm
        remote: percent
      farther:
        depth: 25 cm
        remote:
          quantity: counts
          volts-per-count: 0.125 mV
          topic: field/7
          pointer: /soil/0
          sequence: /n
          time: /t
          stale-after: 30 min
lines:
  one:
    name: The left line
    valve:
      pin: 17
      chip: pinctrl-test
      active-low: yes
      close-pin: 18
      pulse: 60 ms
    waters:
      big-left:
        emitters: 6
        flow: 0.5 gal/h
    uniformity: 85 %
    max-on: 60 min
    daily-cap: 30 L
    injector:
      ratio: "1:100"
      convention: added
      pin: 5
      chip: gpiochip9
      max-run: 20 min
      flow-within: 45 s
      active-low: yes
      premixed: no
  two:
    valve:
      remote: east-node
    waters: { small: 2 x 2 L/h }
  three:
    valve:
      plain:
        set-topic: plug/3/set
        state-topic: plug/3
        state-pointer: /relay
        open-word: on
        closed-word: off
        own-limit: 20 min
    waters: { third: 2 x 2 L/h }
supply:
  flow: 1 gal/min
  hours:
    - 05:00-09:30
    - 22:00–02:00
  tank: 200 L
  tank-reserve: 20 L
  pressure: 1.5 bar
  conductivity: 500 uS/cm
  meter:
    constant: 450 pulses/L
    pin: 22
    chip: pinctrl-test
    contact: supply
    pull: outside
    debounce: 2 s
  float:
    pin: 24
    debounce: 1 s
  pump:
    pin: 23
    chip: pinctrl-test
    active-low: yes
    flow-within: 45 s
    longest-run: 20 min
rain-gauge:
  per-tip: 0.01 in
  pin: 25
limits:
  max-on: 2 h
  min-rest: 10 min
  daily-factor: 3
  frost: 39.2 °F
  survival: 5 %
  no-journal-doses: 2
hardware:
  kind: board
  i2c-bus: /dev/i2c-1
  gpio-chip: pinctrl-main
  burst: 7
broker:
  url: embedded
  prefix: home/garden
  client-id: full
  listen: 0.0.0.0:8883
  ca-file: /etc/ca.pem
  cert-file: broker.pem
  key-file: broker.key
  server-name: garden.test
  accounts:
    - login-file: east.login
      may-publish: [home/garden/full-site/valve/east-node/state]
      may-subscribe:
        - home/garden/full-site/valve/east-node/set
  discovery: yes
  homie: devices
  weather:
    - quantity: temperature
      topic: station
      pointer: /temp
      unit: F
    - { quantity: wind, topic: station, pointer: /wind, unit: km/h }
    - { quantity: humidity, topic: station/rh, unit: "%" }
    - { quantity: days }
alarms:
  repeat-after: 20 min
  repeat-most: 6 h
  quiet-hours: [22:00-07:00]
  self-test-day: 15
  most-per-hour: 9
  webhooks:
    - post-to: https://hub.test/hook
      headers:
        - name: Authorization
          secret-file: hook.secret
        - { name: X-Garden, value: full }
      body-file: hook.template
      content-type: text/plain
      ca-file: hub.pem
    - post-to: http://bell.example/pots
  mail:
    server: smtp.test:465
    security: tls
    login-file: mail.login
    from: pots@garden.test
    to: [me@garden.test, you@garden.test]
    ca-file: smtp.pem
  lamp:
    pin: 26
    chip: pinctrl-other
    active-low: yes
    on-for: 90 s
journal: /tmp/journal.db
`
