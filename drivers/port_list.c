/** @file port_list.c
 * The serial ports that the system knows, for `lugmark readers`. Opens none.
 */
#include <libserialport.h>
#include <stdlib.h>
#include <string.h>

#include "lugmark/port.h"

static int by_name(const void *a, const void *b)
{
    const struct sp_port *const *pa = a;
    const struct sp_port *const *pb = b;
    return strcmp(sp_get_port_name(*pa), sp_get_port_name(*pb));
}

enum lm_err lm_port_list(lm_port_fn *fn, void *ctx)
{
    struct sp_port **ports = NULL;
    if (sp_list_ports(&ports) != SP_OK)
        return LM_EIO;
    size_t n = 0;
    while (ports[n] != NULL)
        n++;
    /* libserialport gives them in the order of a directory, which is none. */
    qsort(ports, n, sizeof *ports, by_name);
    for (size_t i = 0; i < n; i++) {
        const char *description = sp_get_port_description(ports[i]);
        fn(sp_get_port_name(ports[i]), description != NULL ? description : "", ctx);
    }
    sp_free_port_list(ports);
    return LM_OK;
}
