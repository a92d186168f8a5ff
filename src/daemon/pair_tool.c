#include "pair_tool.h"

#include "control.h"
#include "page_qr.h"
#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#define EXIT_FAILED 4
#define ANSWER_S 10

static int call(const char *path)
{
    struct sockaddr_un at = {.sun_family = AF_UNIX};
    const struct timeval patience = {ANSWER_S, 0};
    int fd =
        strlen(path) < sizeof at.sun_path ? socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0) : -1;
    if (fd < 0) {
        return -1;
    }
    memcpy(at.sun_path, path, strlen(path) + 1);
    setsockopt(fd, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
    if (connect(fd, (const struct sockaddr *) &at, sizeof at) != 0) {
        close(fd);
        return -1;
    }
    return fd;
}

static json_t *request_of(const struct pair_ask *ask)
{
    json_t *out = json_pack("{s:s}", "do", ask->verb);
    if (ask->word != NULL) {
        json_object_set_new(
            out, strcmp(ask->verb, "pair") == 0 ? "may" : "name", json_string(ask->word));
    }
    return out;
}

/* Its greeting, then its answer: one line each. NULL when they do not come. */
static json_t *exchange(int fd, json_t *request)
{
    FILE *line = fdopen(fd, "r");
    char *text = json_dumps(request, JSON_COMPACT);
    char *got = NULL;
    size_t room = 0;
    json_t *answer = NULL;
    if (line == NULL) {
        close(fd);
    } else if (text != NULL && getline(&got, &room, line) > 0) {
        dprintf(fd, "%s\n", text);
        answer = getline(&got, &room, line) > 0 ? json_loads(got, 0, NULL) : NULL;
    }
    if (line != NULL) {
        fclose(line);
    }
    free(got);
    free(text);
    return answer;
}

static const char *text_of(const json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));
    return text != NULL ? text : "";
}

static void show_pair(const json_t *answer)
{
    qr_draw(stdout, json_object_get(answer, "qr"));
    printf("Open on the other device, on the same network, within ten minutes:\n\n  %s\n\n"
           "It works once. That device may then %s. To take it back: lugmarkd --paired, then\n"
           "lugmarkd --unpair NAME\n",
        text_of(answer, "url"),
        strcmp(text_of(answer, "may"), "look") == 0 ? "look and change nothing"
                                                    : "do all that the page can do");
}

static void show_paired(const json_t *answer)
{
    const json_t *list = json_object_get(answer, "paired");
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *d = json_array_get(list, i);
        printf("%s\tmay %s\tpaired %.10s from %s\n", text_of(d, "name"), text_of(d, "may"),
            text_of(d, "paired"), text_of(d, "from"));
    }
    if (json_array_size(list) == 0) {
        puts("no device is paired");
    }
}

static int show(const struct pair_ask *ask, const json_t *answer)
{
    if (!json_is_true(json_object_get(answer, "ok"))) {
        fprintf(stderr, "lugmarkd: %s\nto mend: %s\n", text_of(answer, "error"),
            text_of(answer, "mend"));
        int exit = (int) json_integer_value(json_object_get(answer, "exit"));
        return exit > 0 ? exit : EXIT_FAILED;
    }
    if (strcmp(ask->verb, "pair") == 0) {
        show_pair(answer);
    } else if (strcmp(ask->verb, "paired") == 0) {
        show_paired(answer);
    } else {
        printf("forgotten: %d\n", (int) json_integer_value(json_object_get(answer, "forgotten")));
    }
    return 0;
}

int pair_tool(const struct pair_ask *ask, const char *socket)
{
    char path[PATH_MAX];
    control_path(socket, path, sizeof path);
    int fd = call(path);
    if (fd < 0) {
        fprintf(stderr,
            "lugmarkd: nobody answers at %s: %s\nto mend: start lugmarkd first, or name its "
            "socket with --socket\n",
            path, strerror(errno));
        return EXIT_FAILED;
    }
    json_t *request = request_of(ask);
    json_t *answer = exchange(fd, request);
    json_decref(request);
    int exit = EXIT_FAILED;
    if (answer != NULL) {
        exit = show(ask, answer);
    } else {
        fputs("lugmarkd: the daemon gave no answer\nto mend: look at what it says\n", stderr);
    }
    json_decref(answer);
    return exit;
}
