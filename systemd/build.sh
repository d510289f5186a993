#!/usr/bin/env bash
# The program as it ships, for the GOARCH and GOARM of the environment:
# systemd/build.sh OUT
#
# The cards and the memory of small boards are why it has no symbols, one version
# of HTTP, which every receiver of a webhook understands, and no copies of small
# functions in place of calls (-l) where nothing is in a hurry: pages, the garden
# file, messages, mail, encryption's talk, alarms and feeds, chips and pins, which wait
# for their wires, what plays seasons, campaigns and trials, and the libraries under
# them. The loop, what decides on water, the simulated terrace, the journal's database,
# mathematics, ciphers and the runtime keep their speed.
set -euo pipefail
out=$(realpath -m "$1")
cd "$(dirname "$0")/.."
unhurried=(
  archive/... bufio context crypto/... database/... encoding/... flag fmt html/... io/... log/... mime/... net/...
  os/... path/... reflect regexp/... text/...
  vendor/golang.org/x/{crypto/cryptobyte,net,text}/... golang.org/x/{net,text}/...
  github.com/...
  fabricpot/cmd/gateway fabricpot/cmd/gateway/internal/{config,expose,hub,journal,notify,page,papers,picture,place,report,season,socket,timezone,units}
  fabricpot/mqtt/... fabricpot/sensors/{ads1115,calibrate,iio,permittivity,pulse,w1} fabricpot/sim/{node,policy} fabricpot/valves/gpioline
  fabricpot/control/{alarm,crop,feed,feeding,hydraulics,task,weather}
)
hurried=(crypto/internal/fips140/{aes,alias,bigmod,edwards25519,mlkem,nistec,sha256,sha3,sha512,subtle}/... crypto/internal/fips140deps/...)
# Kernels of 32-bit ARM have pages of 4 kB and no other, so that its segments need not
# begin 64 kB apart, as those of arm64, whose pages may be as large, must.
link='-s -w'
[ "${GOARCH:-}" = arm ] && link+=' -R 4096'
# Of several that match a package the last one holds.
export CGO_ENABLED=0 GOOS=linux
exec go build -trimpath -tags nethttpomithttp2 -ldflags="$link" \
  $(printf -- '-gcflags=%s=-l ' "${unhurried[@]}") $(printf -- '-gcflags=%s= ' "${hurried[@]}") -o "$out" ./cmd/gateway
