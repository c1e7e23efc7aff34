#!/bin/sh
# One query by hand: query.sh HOST PORT MESSAGE
printf '%s\n' "$3" | socat -t 2 - "TCP:$1:$2"
