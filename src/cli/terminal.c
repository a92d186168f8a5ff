/* The terminal: its size, its state, and giving it back as it was. */
#include "terminal.h"

#include <langinfo.h>
#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

bool lm_terminal_is_screen(void)
{
    const char *term = getenv("TERM");
    return isatty(STDOUT_FILENO) && term != NULL && term[0] != '\0' && strcmp(term, "dumb") != 0;
}

void lm_terminal_size(struct lm_terminal *t)
{
    struct winsize size = {0};
    t->rows = 24;
    t->columns = 80;
    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_row > 0 && size.ws_col > 0) {
        t->rows = size.ws_row;
        t->columns = size.ws_col;
    }
}

void lm_terminal_begin(struct lm_terminal *t)
{
    const char *no_colour = getenv("NO_COLOR");
    memset(t, 0, sizeof *t);
    t->begun = true;
    setlocale(LC_CTYPE, ""); /* here and not at the start: it reads a handful of files */
    t->utf8 = strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
    t->colour = no_colour == NULL || no_colour[0] == '\0';
    if (tcgetattr(STDIN_FILENO, &t->was) == 0) {
        struct termios now = t->was;
        now.c_lflag &= ~(tcflag_t) (ICANON | ECHO);
        now.c_cc[VMIN] = 0;
        now.c_cc[VTIME] = 0;
        t->changed = tcsetattr(STDIN_FILENO, TCSANOW, &now) == 0;
    }
    lm_terminal_size(t);
    fputs("\033[?1049h\033[?25l\033[2J", stdout); /* second screen, no cursor, empty */
    fflush(stdout);
}

void lm_terminal_end(struct lm_terminal *t)
{
    if (!t->begun)
        return;
    t->begun = false;
    fputs("\033[0m\033[?25h\033[?1049l", stdout);
    fflush(stdout);
    if (t->changed)
        tcsetattr(STDIN_FILENO, TCSANOW, &t->was);
}
