#!/bin/bash
# Tries the job array on one node: parts made by Slurm and merged are the same bytes as one run.
#
#   tests/cluster.sh PROGRAM      as root, in a container or on a machine of one's own: it installs and starts slurm-wlm and munge
set -euo pipefail

program=$(realpath "${1:?name the program, such as target/debug/cofferdam}")
root=$(realpath "$(dirname "$0")/..")
work=$(mktemp -d)
started=()
stop() {
    ((${#started[@]} == 0)) || kill "${started[@]}" 2>/dev/null || true
    rm -rf "$work"
}
trap stop EXIT

command -v slurmctld >/dev/null && command -v munged >/dev/null || {
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq slurm-wlm munge
}

[[ -s /etc/munge/munge.key ]] || { dd if=/dev/urandom of=/etc/munge/munge.key bs=1024 count=1 status=none; chown munge: /etc/munge/munge.key; chmod 400 /etc/munge/munge.key; }
install -d -o munge -g munge -m 755 /run/munge
if ! munge -n >/dev/null 2>&1; then
    setpriv --reuid=munge --regid=munge --clear-groups munged --foreground &
    started+=($!)
    for _ in $(seq 50); do munge -n >/dev/null 2>&1 && break || sleep 0.1; done
fi

host=$(hostname -s)
mkdir -p "$work"/{state,spool,log}
cat > "$work/slurm.conf" <<CONF
ClusterName=one
SlurmctldHost=$host(127.0.0.1)
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
StateSaveLocation=$work/state
SlurmdSpoolDir=$work/spool
SlurmctldPidFile=$work/slurmctld.pid
SlurmdPidFile=$work/slurmd.pid
SlurmctldLogFile=$work/log/slurmctld.log
SlurmdLogFile=$work/log/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
MpiDefault=none
ReturnToService=2
NodeName=$host NodeAddr=127.0.0.1 CPUs=$(nproc) State=UNKNOWN
PartitionName=all Nodes=$host Default=YES MaxTime=INFINITE State=UP
CONF
export SLURM_CONF=$work/slurm.conf
slurmctld -D & started+=($!)
slurmd -D & started+=($!)
for _ in $(seq 100); do sinfo -h -o %T 2>/dev/null | grep -q idle && break || sleep 0.2; done
sinfo

options=(--runs 3000 --frames 4 --seed 7)
export SYSTEM=$root/examples/survey-vessel OUT=$work/found COFFERDAM=$program
sbatch --wait --array=1-4 --output="$work/log/part-%a.txt" "$root/slurm/campaign.sbatch" "${options[@]}"
cat "$work"/log/part-*.txt
status() { "$@" >/dev/null || [[ $? == 1 ]]; } # Claims that are open are no failure of this test.
status "$program" campaign --merge "$OUT"/part-* --out "$work/merged"
status "$program" campaign "$SYSTEM" "${options[@]}" --out "$work/whole"
for file in records.parquet summary.json; do
    cmp "$work/merged/$file" "$work/whole/$file"
done
echo "The merged parts and one run are the same bytes."
