#!/bin/sh
# Installs what the tests need beside Go on a Debian machine, and says so.
set -eu
missing=""
command -v chromium >/dev/null 2>&1 || missing="$missing chromium"
command -v gcc >/dev/null 2>&1 || missing="$missing gcc libc6-dev"
{ command -v chronyd || [ -x /usr/sbin/chronyd ]; } >/dev/null 2>&1 || missing="$missing chrony"
command -v sox >/dev/null 2>&1 || missing="$missing sox"
command -v espeak-ng >/dev/null 2>&1 || missing="$missing espeak-ng"
command -v pdftotext >/dev/null 2>&1 || missing="$missing poppler-utils"
[ -z "$missing" ] && exit 0
echo "The tests need$missing: installing from Debian's packages."
as=""
[ "$(id -u)" = 0 ] || as="sudo"
$as apt-get update -qq
# shellcheck disable=SC2086
DEBIAN_FRONTEND=noninteractive $as apt-get install -y -qq $missing >/dev/null
