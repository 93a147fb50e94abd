# What the scripts of this folder share. Sourced, not run.
here="$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)"
repo="$(cd "$here/../.." && pwd)"
judges="${FASCICLE_JUDGES:-$repo/target/judges}"
mkdir -p "$judges"
judges="$(cd "$judges" && pwd)"
export FASCICLE_JUDGES="$judges"
