/* The code of the tag that is held to a reader now. */
#include "tag.h"

#include <string.h>
#include <time.h>

#include "client.h"
#include "lugmark/decode.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

static int64_t steady_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t) now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* Whether a line of the stream is a reading with a code. */
static bool take_line(const char *line, size_t len, struct lm_eid *eid)
{
    char event[16], code[LM_EID_TEXT_SIZE];
    struct lm_decoded decoded;
    json_t *got = json_loadb(line, len, 0, NULL);
    lm_json_text(got, "event", event, sizeof event);
    lm_json_text(got, "eid", code, sizeof code);
    bool called = json_is_string(json_object_get(got, "called"));
    json_decref(got);
    if ((strcmp(event, "idle") != 0 && strcmp(event, "verdict") != 0) || called)
        return false;
    if (code[0] == '\0' || lm_decode(code, strlen(code), &decoded, NULL) != LM_OK ||
        decoded.eid.known == LM_EID_UID)
        return false;
    *eid = decoded.eid;
    return true;
}

static enum lm_err wait_for(struct lm_client *client, int64_t until_ms, struct lm_eid *eid)
{
    char *line;
    size_t len;
    json_t *request = json_pack("{s:s}", "do", "watch");
    enum lm_err err = request != NULL ? lm_client_send(client, request) : LM_ENOMEM;
    json_decref(request);
    while (err == LM_OK) {
        int64_t left = until_ms - steady_ms();
        if (left <= 0)
            return LM_EAGAIN;
        err = lm_client_line(client, (int) left, &line, &len);
        if (err == LM_OK && take_line(line, len, eid))
            return LM_OK;
    }
    return err;
}

int lm_tag_scan(const struct lm_args *args, struct lm_eid *eid)
{
    char path[256], code[LM_EID_TEXT_SIZE];
    long seconds = 60;
    struct lm_client *client = NULL;
    struct lm_problem p = {0};
    if (!lm_arg_number(args, "timeout", 1, 3600, &seconds))
        return LM_EXIT_USAGE;
    int exit = lm_client_path(args, path, sizeof path);
    if (exit != LM_EXIT_OK)
        return exit;
    if (lm_client_connect(path, &client, &p) != LM_OK) {
        lm_problem_print(&p);
        return LM_EXIT_FAILED;
    }
    fprintf(stderr, _("lugmark: hold the new tag to a reader (%ld seconds)\n"), seconds);
    enum lm_err err = wait_for(client, steady_ms() + seconds * 1000, eid);
    lm_client_close(client);
    if (err == LM_EAGAIN)
        return lm_fail(LM_EXIT_FAILED, "hold it closer, look at lugmark readers, or give --eid",
            "no code was read in %ld seconds", seconds);
    if (err != LM_OK)
        return lm_fail(LM_EXIT_FAILED, "do it again", "the daemon at %s went away", path);
    fprintf(stderr, _("lugmark: read %s\n"), lm_eid_format(*eid, code));
    return LM_EXIT_OK;
}
