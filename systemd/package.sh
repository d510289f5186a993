#!/usr/bin/env bash
# Builds the Debian packages: systemd/package.sh [-v VERSION] [-o FOLDER] [ARCH…]
# ARCH is amd64, arm64 or armhf; none: all three. The same tree, the same
# compiler and the same SOURCE_DATE_EPOCH give the same bytes.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
cd "$here/.."
out=$PWD/dist version=
while getopts v:o: o; do
  case $o in
    v) version=$OPTARG ;;
    o) mkdir -p "$OPTARG"; out=$(cd "$OPTARG" && pwd) ;;
    *) exit 2 ;;
  esac
done
shift $((OPTIND - 1))
[ $# -gt 0 ] || set -- amd64 arm64 armhf

: "${SOURCE_DATE_EPOCH:=$(git log -1 --format=%ct)}"
export SOURCE_DATE_EPOCH CGO_ENABLED=0 LC_ALL=C TZ=UTC
[ -n "$version" ] || version=0.1~$(date -u -d "@$SOURCE_DATE_EPOCH" +%Y%m%d.%H%M%S)
name=fabricpot-gateway
maintainer="${DEBFULLNAME:-fabricpot} <${DEBEMAIL:-fabricpot@localhost}>"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
umask 022
mkdir -p "$out"

put() { install -D -m "$1" "$2" "$3"; } # put MODE FROM TO

go build -trimpath -tags papers -o "$work/host" ./cmd/gateway
# The pages show defaults: those of the service, not of whoever builds.
env -i RUNTIME_DIRECTORY=/run/fabricpot "$work/host" papers --date "$SOURCE_DATE_EPOCH" "$work/papers"
printf '%s (%s) unstable; urgency=medium\n\n  * Built from the source of that day.\n\n -- %s  %s\n' \
  "$name" "$version" "$maintainer" "$(date -u -R -d "@$SOURCE_DATE_EPOCH")" >"$work/changelog"

# Every linked library's notice, as its licence asks.
{
  echo "Go"; cat "$(go env GOROOT)/LICENSE"
  GOOS=linux go list -deps -f '{{with .Module}}{{if not .Main}}{{.Path}} {{.Dir}}{{end}}{{end}}' ./cmd/gateway | sort -u |
    while read -r module dir; do
      printf '\n%s\n' "==== $module ===="
      (cd "$dir" && for f in LICEN* COPYING* NOTICE* edl-v10 licenses/ftl.txt; do
        [ ! -f "$f" ] || { printf -- '-- %s\n' "$f"; cat "$f"; }
      done)
    done
} >"$work/notices"

for arch in "$@"; do
  root=$work/$arch
  case $arch in
    amd64) export GOARCH=amd64 ;;
    arm64) export GOARCH=arm64 ;;
    armhf) export GOARCH=arm GOARM=6 ;; # the oldest single-board computers too
    *) echo "unknown architecture $arch: expected amd64, arm64 or armhf" >&2; exit 2 ;;
  esac
  mkdir -p "$root/usr/bin"
  "$here/build.sh" "$root/usr/bin/gateway"
  unset GOARCH GOARM

  for u in "$here"/*.service "$here"/*.timer; do
    put 0644 "$u" "$root/usr/lib/systemd/system/${u##*/}"
  done
  put 0644 "$here/fabricpot.sysusers" "$root/usr/lib/sysusers.d/fabricpot.conf"
  put 0644 "$here/fabricpot.tmpfiles" "$root/usr/lib/tmpfiles.d/fabricpot.conf"
  put 0644 "$here/60-fabricpot.rules" "$root/usr/lib/udev/rules.d/60-fabricpot.rules"
  put 0644 "$here/dropins/journald.conf" "$root/etc/systemd/journald.conf.d/fabricpot.conf"
  put 0644 "$work/papers/gateway.bash" "$root/usr/share/bash-completion/completions/gateway"
  put 0644 "$work/papers/_gateway" "$root/usr/share/zsh/vendor-completions/_gateway"
  put 0644 "$work/papers/gateway.fish" "$root/usr/share/fish/vendor_completions.d/gateway.fish"
  for m in "$work"/papers/man1/*.1; do
    put 0644 "$m" "$root/usr/share/man/man1/${m##*/}"
    gzip -9n "$root/usr/share/man/man1/${m##*/}"
  done

  doc=$root/usr/share/doc/$name
  for d in "$here"/guide/*.md "$here"/guide/*.svg; do
    put 0644 "$d" "$doc/${d##*/}"
  done
  # What these link to comes along; guide and example garden stand elsewhere here.
  for d in README.md DEVELOPERS.md mqtt/CONTRACT.md mqtt/schema/*.json sim/node/node.go testdata/trial/*.svg; do
    put 0644 "$d" "$doc/$d"
  done
  sed -i 's|(systemd/guide/|(|; s|testdata/terrace\.yaml|examples/garden.yaml|g' "$doc/README.md"
  put 0644 testdata/terrace.yaml "$doc/examples/garden.yaml"
  for d in hardware-watchdog internet low-port; do
    put 0644 "$here/dropins/$d.conf" "$doc/examples/$d.conf"
  done
  put 0644 "$here/package/copyright" "$doc/copyright"
  put 0644 "$here/package/licences.txt" "$doc/licences.txt"
  put 0644 "$work/notices" "$doc/notices"
  gzip -9n "$doc/notices"
  put 0644 "$work/changelog" "$doc/changelog"
  gzip -9n "$doc/changelog"
  put 0644 "$here/package/lintian-overrides" "$root/usr/share/lintian/overrides/$name"

  for s in postinst prerm postrm; do
    put 0755 "$here/package/$s" "$root/DEBIAN/$s"
  done
  put 0644 "$here/package/conffiles" "$root/DEBIAN/conffiles"
  cat >"$root/DEBIAN/control" <<EOF
Package: $name
Version: $version
Architecture: $arch
Maintainer: $maintainer
Installed-Size: $(du -k -s --apparent-size --exclude=DEBIAN "$root" | cut -f1)
Depends: systemd (>= 247), init-system-helpers (>= 1.52)
Section: misc
Priority: optional
Description: keeps vegetables in fabric pots watered and fed
 Reads capacitive moisture probes, converts their voltage to water content by a
 calibration for each mix, decides irrigation and feeding pulses sized to each
 container, drives the valves and closes them whatever happens. Shows on a local
 page what goes on, tells what to do by hand where there is no valve, and has a
 simulator with which everything can be tried with no hardware.
EOF
  (cd "$root" && find . -path ./DEBIAN -prune -o -type f -printf '%P\n' | sort | xargs -d '\n' md5sum >DEBIAN/md5sums)
  chmod 0644 "$root/DEBIAN/md5sums"
  find "$root" -exec touch -h -d "@$SOURCE_DATE_EPOCH" {} +
  dpkg-deb --root-owner-group -Zxz -z3 --build "$root" "$out/${name}_${version}_${arch}.deb" >/dev/null
  echo "$out/${name}_${version}_${arch}.deb"
done
