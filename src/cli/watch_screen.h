/* Drawing what is watched on a terminal. */
#ifndef LUGMARK_CLI_WATCH_SCREEN_H
#define LUGMARK_CLI_WATCH_SCREEN_H

#include <stdio.h>

#include "terminal.h"
#include "watch_model.h"

/** Write one whole screen, exactly `rows` lines of at most `columns` cells. */
void lm_watch_draw(FILE *out, const struct lm_terminal *t, const struct lm_watch *w);

#endif
