#include "life.h"

/* Rows are states, columns are happenings in the order of enum life_what. */
static const unsigned char table[LIFE_STATES][LIFE_WHATS] = {
    /* TRY, OPENED, NOT_THERE, REFUSED, BYTES, QUIET, GONE, ENDED */
    [LIFE_ABSENT] = {LIFE_OPENING, LIFE_ABSENT, LIFE_ABSENT, LIFE_ABSENT, LIFE_ABSENT, LIFE_ABSENT,
        LIFE_ABSENT, LIFE_ABSENT},
    [LIFE_OPENING] = {LIFE_OPENING, LIFE_LIVE, LIFE_ABSENT, LIFE_BACKING_OFF, LIFE_OPENING,
        LIFE_OPENING, LIFE_BACKING_OFF, LIFE_ABSENT},
    [LIFE_LIVE] = {LIFE_LIVE, LIFE_LIVE, LIFE_LIVE, LIFE_LIVE, LIFE_LIVE, LIFE_SILENT,
        LIFE_BACKING_OFF, LIFE_ABSENT},
    [LIFE_SILENT] = {LIFE_SILENT, LIFE_SILENT, LIFE_SILENT, LIFE_SILENT, LIFE_LIVE, LIFE_SILENT,
        LIFE_BACKING_OFF, LIFE_ABSENT},
    [LIFE_BACKING_OFF] = {LIFE_OPENING, LIFE_BACKING_OFF, LIFE_BACKING_OFF, LIFE_BACKING_OFF,
        LIFE_BACKING_OFF, LIFE_BACKING_OFF, LIFE_BACKING_OFF, LIFE_ABSENT},
};

enum life life_next(enum life state, enum life_what what)
{
    if (state >= LIFE_STATES || what >= LIFE_WHATS) {
        return state;
    }
    return (enum life) table[state][what];
}

int life_delay_ms(int previous_ms, int last_ms)
{
    if (previous_ms <= 0) {
        return LIFE_RETRY_FIRST_MS;
    }
    return previous_ms >= last_ms / 2 ? last_ms : previous_ms * 2;
}

int life_is_open(enum life state)
{
    return state == LIFE_LIVE || state == LIFE_SILENT;
}

const char *life_name(enum life state)
{
    switch (state) {
    case LIFE_ABSENT:
        return "absent";
    case LIFE_OPENING:
        return "opening";
    case LIFE_LIVE:
        return "live";
    case LIFE_SILENT:
        return "silent";
    case LIFE_BACKING_OFF:
        return "backing-off";
    case LIFE_STATES:
        break;
    }
    return "absent";
}
