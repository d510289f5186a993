#!/bin/bash
# Runs inside the Debian root of systemd/test.sh: as "chroot" installs, upgrades
# and purges; as "booted" installs again and tries the service for real.
set -euo pipefail
export DEBIAN_FRONTEND=noninteractive LC_ALL=C.UTF-8
fail() { echo "FAILED: $*"; exit 1; }
ok() { echo "ok: $*"; }
garden=/etc/fabricpot/garden.yaml
files() { find / -xdev \( -path /proc -o -path /sys -o -path /dev -o -path /run -o -path /tmp -o -path /root -o -path /var/log -o -path /var/cache -o -path /var/lib/dpkg \) -prune -o -print | sort; }

if [ "$1" = chroot ]; then
  files >/root/before
  dpkg -i /root/old.deb >/root/log 2>&1 || { cat /root/log; fail "install"; }
  getent passwd fabricpot >/dev/null && id -nG fabricpot | grep -qw gpio && id -nG fabricpot | grep -qw i2c || fail "user and groups"
  [ "$(stat -c '%a %U' /var/lib/fabricpot)" = "700 fabricpot" ] || fail "state folder"
  gateway --version >/dev/null
  gateway check $garden >/root/check
  grep -q aubergine /root/check || fail "check of the installed garden"
  gateway simulate --from 2026-07-01 --to 2026-07-02 --json $garden | grep -q mass_balance || fail "simulate"
  MANPAGER=cat man -P cat gateway-run 2>/dev/null | grep -q -- --speed || zcat /usr/share/man/man1/gateway-run.1.gz | grep -q speed || fail "manual"
  bash -n /usr/share/bash-completion/completions/gateway
  ok "installed, and the installed program runs"

  echo "# mine" >>$garden
  echo "# mine" >>/etc/systemd/journald.conf.d/fabricpot.conf
  dpkg --force-confdef --force-confold -i /root/new.deb >/root/log 2>&1 || { cat /root/log; fail "upgrade"; }
  grep -q '# mine' $garden || fail "the upgrade touched the garden file"
  grep -q '# mine' /etc/systemd/journald.conf.d/fabricpot.conf || fail "the upgrade touched a conffile"
  ok "upgraded, configuration kept"

  dpkg -r fabricpot-gateway >/dev/null 2>&1
  [ -e $garden ] && [ -d /var/lib/fabricpot ] || fail "remove took the garden along"
  dpkg -P fabricpot-gateway >/root/log 2>&1 || { cat /root/log; fail "purge"; }
  files >/root/after
  # The user and its groups stay; sysusers leaves backups of the tables.
  if diff /root/before /root/after | grep '^[<>]' | grep -vE '/etc/(passwd|group|shadow|gshadow)-$|/etc/\.pwd\.lock$'; then fail "purge left or took something"; fi
  ok "removed and purged clean"
  exit 0
fi

# Booted: systemd is process 1.
dpkg -i /root/new.deb >/root/log 2>&1 || { cat /root/log; fail "install"; }
systemctl is-enabled -q fabricpot-gateway && fail "enabled without being asked"
unit=/usr/lib/systemd/system/fabricpot-gateway.service

# What the sandbox allows and denies, asked by a probe under the unit's own settings.
cat >/usr/local/bin/sandbox-probe <<'P'
#!/bin/bash
# Negated commands must fail.
try() { if "${@:2}" >/dev/null 2>&1; then got=yes; else got=no; fi; [ $got = "$1" ] || { echo "sandbox: expected $1: ${*:2}"; bad=1; }; }
try yes perl -e 'my $b = "\0" x 512; exit(syscall(159, $b) < 0)'             # adjtimex: ask whether the clock is synchronised
try no  perl -e 'my $b = pack("qq", 1, 0); exit(syscall(227, 0, $b) < 0)'     # clock_settime
try yes cat /proc/sys/kernel/random/boot_id
try yes cat /etc/fabricpot/garden.yaml
try yes cat /etc/pin-of-the-group
try no  cat /etc/shadow
try no  touch /etc/fabricpot/x
try no  touch /usr/x
try yes touch /var/lib/fabricpot/x
try yes touch /run/fabricpot/x
try no  ls /root/
try no  unshare -U true
try no  mount -t tmpfs none /tmp
rm -f /var/lib/fabricpot/x
[ "$(id -un)" = fabricpot ] || { echo "sandbox: runs as $(id -un)"; bad=1; }
[ -z "$bad" ]
P
chmod 755 /usr/local/bin/sandbox-probe
install -m 640 -g i2c /dev/null /etc/pin-of-the-group
sed -e '/^ExecStopPost=/d' -e '/^WatchdogSec=/d' -e 's/^Type=.*/Type=oneshot/' -e 's/^Restart=.*/Restart=no/' \
  -e 's|^ExecStart=.*|ExecStart=/usr/local/bin/sandbox-probe|' $unit >/etc/systemd/system/sandbox-probe.service
systemctl daemon-reload
systemctl start sandbox-probe || { journalctl -u sandbox-probe --no-pager -o cat | tail -20; fail "sandbox"; }
ok "sandbox: clock, boot id, group's device and own folders; nothing else"

# The service itself, on the bench, with a journal that stays.
mkdir -p /etc/systemd/system/fabricpot-gateway.service.d
echo 'OPTIONS="--speed 600 --journal /var/lib/fabricpot/journal.db"' >/etc/fabricpot/options
printf '[Service]\nRestartSec=1s\n' \
  >/etc/systemd/system/fabricpot-gateway.service.d/try.conf
systemctl daemon-reload
said() { journalctl -u fabricpot-gateway --no-pager -o cat; }
until_said() { for _ in $(seq 500); do said | grep -q "$1" && return 0; sleep 0.2; done; said | tail -30; fail "the service never said: $1"; }
systemctl start fabricpot-gateway || { said | tail -30; fail "start"; }
[ "$(systemctl show -P StatusText fabricpot-gateway)" = "on the virtual bench" ] || fail "status text: $(systemctl show -P StatusText fabricpot-gateway)"
[ "$(stat -c '%a %U' /run/fabricpot/gateway.sock)" = "600 fabricpot" ] || fail "socket"
ok "started, and said that it was ready"
gateway close-all >/root/log 2>&1 || { cat /root/log; fail "close-all through the service"; }
grep -q 'confirmed closed' /root/log || fail "close-all said nothing"
ok "commands find the service: $(tail -1 /root/log)"

systemctl reload fabricpot-gateway || { said | tail; fail "reload of the same file"; }
until_said "nothing changed"
sed -i 's/size: 38 L /size: 40 L /' $garden
systemctl reload fabricpot-gateway || { said | tail; fail "reload"; }
until_said "1 changed, in force now"
sed -i 's/size: 40 L /size: forty /' $garden
systemctl reload fabricpot-gateway 2>/dev/null && fail "a file with faults was reloaded"
until_said "garden.yaml:[0-9]*:[0-9]*: pots.chilli.size"
[ "$(systemctl is-active fabricpot-gateway)" = active ] || fail "a file with faults ended the service"
sed -i 's/size: forty /size: 38 L /' $garden
# The log has the command's words and the service's, so it is the next one that counts.
taken() { said | grep -c '1 changed, in force now' || true; }
before=$(taken)
systemctl kill -s HUP --kill-who=main fabricpot-gateway
for _ in $(seq 500); do [ "$(taken)" -gt "$before" ] && break; sleep 0.2; done # it waits for doses that run
[ "$(taken)" -gt "$before" ] || { said | tail; fail "SIGHUP"; }
[ "$(systemctl is-active fabricpot-gateway)" = active ] || fail "SIGHUP ended the service"
ok "reloaded by systemctl and by SIGHUP; a file with faults changed nothing"

systemctl start fabricpot-backup || { journalctl -u fabricpot-backup --no-pager -o cat | tail; fail "backup"; }
[ "$(ls /var/lib/fabricpot/backup/journal-*.db | wc -l)" = 1 ] || fail "no backup"
gateway restore --journal /var/lib/fabricpot/journal.db /var/lib/fabricpot/backup/journal-*.db 2>/dev/null && fail "restored under a running gateway"
ok "backed up while it runs; restore refused"

pid=$(systemctl show -P MainPID fabricpot-gateway)
kill -KILL "$pid"
until_said "there is no line to close"
for _ in $(seq 50); do now=$(systemctl show -P MainPID fabricpot-gateway); [ "$now" != 0 ] && [ "$now" != "$pid" ] && break; sleep 0.2; done
[ "$now" != 0 ] && [ "$now" != "$pid" ] || fail "not restarted"
ok "killed: close-all ran, then it started again"

for _ in $(seq 100); do [ "$(systemctl is-active fabricpot-gateway)" = active ] && break; sleep 0.2; done
systemctl stop fabricpot-gateway
[ "$(systemctl show -P Result fabricpot-gateway)" = success ] || { said | tail; fail "stop: $(systemctl show -P Result fabricpot-gateway)"; }
said | grep -q 'lines confirmed closed' || fail "stop did not say what it closed"
gateway restore --journal /var/lib/fabricpot/journal.db /var/lib/fabricpot/backup/journal-*.db >/dev/null || fail "restore"
[ "$(stat -c '%a %U' /var/lib/fabricpot/journal.db)" = "600 fabricpot" ] || fail "owner after restore"
systemctl start fabricpot-gateway || fail "start after restore"
ok "stopped clean, restored, started again"

# A loop that makes no progress is ended by the watchdog.
systemctl stop fabricpot-gateway
printf '[Service]\nExecStart=\nExecStart=/bin/sh -c "systemd-notify --ready; exec sleep 60"\nWatchdogSec=2s\nNotifyAccess=all\nRestart=no\n' \
  >/etc/systemd/system/fabricpot-gateway.service.d/try.conf
systemctl daemon-reload
systemctl start fabricpot-gateway || fail "start of the stuck one"
for _ in $(seq 60); do [ "$(systemctl is-active fabricpot-gateway)" = failed ] && break; sleep 0.2; done
[ "$(systemctl show -P Result fabricpot-gateway)" = watchdog ] || fail "watchdog: $(systemctl show -P Result fabricpot-gateway)"
ok "no progress: the watchdog ended it, close-all ran"

rm -r /etc/systemd/system/fabricpot-gateway.service.d
dpkg -P fabricpot-gateway >/root/log 2>&1 || { cat /root/log; fail "purge"; }
[ ! -e /etc/fabricpot ] && [ ! -e /var/lib/fabricpot ] || fail "purge left data"
ok "purged"
