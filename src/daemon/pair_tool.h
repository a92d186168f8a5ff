/** @file pair_tool.h
 * `lugmarkd --pair`, `--paired` and `--unpair`: asking the daemon that is at work.
 */
#ifndef LUGMARK_DAEMON_PAIR_TOOL_H
#define LUGMARK_DAEMON_PAIR_TOOL_H

#include <stdbool.h>

/** What is asked: "pair", "paired" or "unpair". */
struct pair_ask {
    const char *verb;
    const char *word; /**< "look" or NULL of pair, the name of unpair */
};

/**
 * Ask the daemon at @p socket (NULL: the usual place) and write its answer.
 * @return exit status: 0, 2 for a name that is not paired, 4 when there is no daemon or it cannot.
 */
int pair_tool(const struct pair_ask *ask, const char *socket);

#endif
