#!/usr/bin/env bash
# Proves the installation: units, packages, and a service that runs in a Debian
# root made for the test. Parts that a machine can't run are named at the end;
# with GATEWAY_CI set they are failures. Needs root for the last part.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
cd "$here/.."
name=fabricpot-gateway
work=$(mktemp -d)
cache=$PWD/.cache
mkdir -p "$cache"
skipped=()
trap 'rm -rf --one-file-system "$work"' EXIT

step() { printf -- '-- %s (%ss)\n' "$*" "$SECONDS"; }
fail() { echo "FAILED: $*" >&2; exit 1; }
skip() { skipped+=("$*"); echo "not run: $*"; }

# The Debian root is fetched while the packages are built.
tar=$cache/root-bookworm.tar fetching=
if [ "$(id -u)" = 0 ] && command -v debootstrap >/dev/null && [ ! -s "$tar" ]; then
  (debootstrap --variant=minbase --include=systemd,systemd-sysv,dbus,udev,man-db bookworm "$work/boot" >"$work/log" 2>&1 &&
    tar -C "$work/boot" -cf "$tar.part" . && mv "$tar.part" "$tar") &
  fetching=$!
fi

step "units: exposure"
for u in gateway backup; do
  file=$here/fabricpot-$u.service
  # 16 is 1.6 on systemd's scale, on which 0 is the least exposed.
  systemd-analyze security --offline=true --threshold=16 --no-pager "$file" >"$work/security" || {
    cat "$work/security"; fail "fabricpot-$u.service is exposed beyond 1.6"; }
  tail -1 "$work/security"
done

step "packages"
"$here/package.sh" -o "$work/deb"
deb=$(echo "$work"/deb/*_amd64.deb)

step "the same source gives the same bytes"
"$here/package.sh" -o "$work/again" amd64 >/dev/null
cmp "$deb" "$work"/again/*_amd64.deb

# Each library of the list, no other, and of each more than its heading: the
# shortest licence among them has a dozen lines.
notices() { # notices FILE.gz
  gunzip -c "$1" | awk '
    NR == FNR { want[$1 == "std" ? "Go" : $1]; next }
    FNR == 1 && /^Go$/ { m = "Go"; next }
    /^==== / { m = $2; next }
    NF && !/^-- / { lines[m]++ }
    tolower($0) ~ /copyright|public domain/ { owner[m]++ }
    END {
      for (m in want) if (lines[m] < 10 || !owner[m]) { print "no licence text of " m; bad = 1 }
      for (m in lines) if (!(m in want)) { print "not in the list: " m; bad = 1 }
      exit bad
    }' systemd/package/licences.txt -
}
dead_links() { # dead_links FOLDER
  (cd "$1" && bad=0
  while IFS=: read -r from to; do
    [ -e "$(dirname "$from")/$to" ] || { echo "$from: $to"; bad=1; }
  done < <(grep -roP '\]\(\K[^)#:]+(?=[)#])' --include='*.md' .)
  exit $bad)
}

step "content"
for arch in amd64:x86-64 arm64:aarch64 armhf:ARM; do
  p=$(echo "$work"/deb/*_"${arch%:*}".deb)
  rm -rf "$work/x"
  dpkg-deb -x "$p" "$work/x"
  [ "$(dpkg-deb -f "$p" Architecture)" = "${arch%:*}" ]
  # Machine type of the ELF header, as elf.h numbers them.
  machine=$(od -An -tu2 -j18 -N2 "$work/x/usr/bin/gateway" | tr -d ' ')
  case ${arch%:*} in amd64) want=62 ;; arm64) want=183 ;; armhf) want=40 ;; esac
  [ "$machine" = $want ] || fail "$p carries machine $machine, expected $want"
  dpkg-deb -c "$p" | awk '$2!="root/root"{print; bad=1} END{exit bad}' || fail "owners in $p"
  for f in usr/bin/gateway usr/lib/systemd/system/$name.service usr/lib/systemd/system/fabricpot-backup.timer \
    usr/lib/sysusers.d/fabricpot.conf usr/lib/tmpfiles.d/fabricpot.conf usr/lib/udev/rules.d/60-fabricpot.rules \
    usr/share/man/man1/gateway.1.gz usr/share/man/man1/gateway-run.1.gz usr/share/man/man1/gateway-close-all.1.gz usr/share/man/man1/gateway-reload.1.gz \
    usr/share/bash-completion/completions/gateway usr/share/zsh/vendor-completions/_gateway \
    usr/share/fish/vendor_completions.d/gateway.fish usr/share/doc/$name/install.md usr/share/doc/$name/wiring.svg \
    usr/share/doc/$name/first-season.md usr/share/doc/$name/examples/garden.yaml etc/systemd/journald.conf.d/fabricpot.conf; do
    [ -s "$work/x/$f" ] || fail "$p lacks $f"
  done
  cmp -s testdata/terrace.yaml "$work/x/usr/share/doc/$name/examples/garden.yaml" || fail "$p: example garden"
  notices "$work/x/usr/share/doc/$name/notices.gz" >"$work/lacks" || { cat "$work/lacks"; fail "$p: notices of the linked libraries"; }
  dead_links "$work/x/usr/share/doc/$name" >"$work/dead" || { cat "$work/dead"; fail "$p: links to what is not in the package"; }
  (cd "$work/x" && md5sum --quiet -c <(dpkg-deb -I "$p" md5sums)) || fail "$p: sums"
done
zcat "$work/x/usr/share/man/man1/gateway-run.1.gz" | grep -q '/run/fabricpot/gateway.sock' || fail "man page shows the builder's socket"
ls -l "$work"/deb/*.deb | awk '{print $5, $9}'

step "units: systemd-analyze verify"
dpkg-deb -x "$deb" "$work/root"
# Their manual pages and programs are those of the unpacked package.
systemd-analyze verify --recursive-errors=no --man=no --root="$work/root" \
  $name.service fabricpot-backup.service fabricpot-backup.timer >"$work/verify" 2>&1 || { cat "$work/verify"; fail verify; }
if grep -i fabricpot "$work/verify"; then fail "verify complains"; fi

step "lintian"
if command -v lintian >/dev/null; then
  for p in "$work"/deb/*.deb; do
    lintian --allow-root --fail-on error "$p"
  done
else
  skip "lintian is not installed"
fi

step "a Debian root for the test"
root=
if [ "$(id -u)" = 0 ] && command -v debootstrap >/dev/null; then
  if [ -n "$fetching" ] && ! wait "$fetching"; then
    tail -3 "$work/log"
    skip "no Debian root could be made"
  fi
  rm -rf --one-file-system "$work/boot"
  if [ -s "$tar" ]; then
    root=$work/machine
    mkdir "$root" && tar -C "$root" -xf "$tar"
  fi
else
  skip "installation in a Debian root needs root and debootstrap"
fi

if [ -n "$root" ]; then
  step "install, run, upgrade, purge in it"
  cp "$deb" "$root/root/new.deb"
  # An older version to upgrade from: the same files, another number.
  dpkg-deb -R "$deb" "$work/old"
  sed -i 's/^Version:.*/Version: 0.0~older/' "$work/old/DEBIAN/control"
  echo '# of an older version' >>"$work/old/etc/systemd/journald.conf.d/fabricpot.conf"
  dpkg-deb --root-owner-group -Znone --build "$work/old" "$root/root/old.deb" >/dev/null
  install -m 755 "$here/package/try-installed.sh" "$root/root/try"
  chroot "$root" /root/try chroot || fail "in the chroot"

  step "the service under systemd"
  if command -v systemd-nspawn >/dev/null; then
    # A machine of its own, booted for one unit that ends it. It may ask for the
    # clock's state, as a board may.
    install -m 644 /dev/stdin "$root/etc/systemd/system/try.service" <<EOF
[Unit]
After=multi-user.target
SuccessAction=exit
FailureAction=exit
[Service]
Type=oneshot
ExecStart=/bin/sh -c '/root/try booted >/root/result 2>&1; echo "ended \$?" >>/root/result'
TimeoutStartSec=280
[Install]
WantedBy=default.target
EOF
    ln -sf /etc/systemd/system/try.service "$root/etc/systemd/system/multi-user.target.wants/try.service"
    timeout 300 systemd-nspawn -q -D "$root" --boot --register=no --keep-unit --private-network --system-call-filter=@clock \
      >"$work/console" 2>&1 </dev/null || true
    if [ ! -s "$root/root/result" ]; then
      tail -5 "$work/console"
      skip "systemd-nspawn boots nothing on this machine"
    else
      cat "$root/root/result"
      grep -q '^ended 0$' "$root/root/result" || fail "under systemd"
    fi
  else
    skip "systemd-nspawn is not installed (package systemd-container)"
  fi
fi

step "done"
if [ ${#skipped[@]} -gt 0 ]; then
  printf 'not run: %s\n' "${skipped[@]}"
  [ -z "${GATEWAY_CI:-}" ] || fail "parts did not run"
fi
