#!/usr/bin/env sh
# Install the programs that judge blinkspan from outside, where this machine allows it.
# Where it does not, say which tests will be skipped; the rest of the tests need none of them.
set -eu

missing=""

# need PROGRAM PACKAGES WHAT-FOR...
need() {
  program=$1 packages=$2
  shift 2
  if command -v "$program" >/dev/null 2>&1 || ls /usr/lib/postgresql/*/bin/"$program" >/dev/null 2>&1; then
    return
  fi
  echo "$program is not on this machine; without it these tests are skipped: $*"
  missing="$missing $packages"
}

need ffprobe ffmpeg "times and counts of frames against FFmpeg's own"
need initdb postgresql "a library in PostgreSQL"
need chromium chromium "the page in a real browser"
need Xvfb xvfb "a recorded program on a virtual screen"
need xdotool xdotool "a recorded program on a virtual screen"

[ -n "$missing" ] || exit 0
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
  echo "installing:$missing"
  apt-get update -qq
  # shellcheck disable=SC2086
  DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
else
  echo "on Debian, as root: apt-get install$missing"
fi
