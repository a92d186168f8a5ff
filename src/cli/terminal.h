/* The terminal: its size, its state, and giving it back as it was. */
#ifndef LUGMARK_CLI_TERMINAL_H
#define LUGMARK_CLI_TERMINAL_H

#include <stdbool.h>
#include <stddef.h>
#include <termios.h>

/** A terminal in use. lm_terminal_begin() fills it. */
struct lm_terminal {
    struct termios was;
    bool changed; /**< `was` has to be put back */
    bool begun;
    bool utf8; /**< it can show block characters */
    bool colour;
    size_t rows, columns;
};

/** Whether standard output is a terminal that can be drawn on. */
bool lm_terminal_is_screen(void);

/** Take the whole screen: no echo, no cursor. */
void lm_terminal_begin(struct lm_terminal *t);

/** Ask the size again. */
void lm_terminal_size(struct lm_terminal *t);

/** Give it back. Harmless when it was not begun. */
void lm_terminal_end(struct lm_terminal *t);

#endif
