/* A line's two planes and what stands in them, see survey/propagation/around/cut.py. */

#include "around.h"

Line line_of(const double *start_m, const double *end_m)
{
    double d[3] = {end_m[0] - start_m[0], end_m[1] - start_m[1], end_m[2] - start_m[2]}, length_m = sqrt(dot(d, d));
    Line line = {{start_m[0], start_m[1], start_m[2]}, {1.0, 0.0, 0.0}, {0.0, 0.0, 1.0}, {0.0, 1.0, 0.0}, 0.0};
    if (length_m < SAME_M) return line;
    double ax = d[0] / length_m, ay = d[1] / length_m, az = d[2] / length_m, level = sqrt(ax * ax + ay * ay);
    double lx = level > SAME_M ? -ay / level : 0.0, ly = level > SAME_M ? ax / level : 1.0;
    Line found = {{start_m[0], start_m[1], start_m[2]}, {ax, ay, az}, {-az * ly, az * lx, ax * ly - ay * lx}, {lx, ly, 0.0}, length_m};
    return found;
}

/* Put the image of a place in its place. */
void mirror_place(const Image *image, double *at_m)
{
    double away = 2.0 * (dot(at_m, image->normal) - image->offset_m);
    for (int i = 0; i < 3; i++) at_m[i] -= away * image->normal[i];
}

/* Whether a place lies inside a solid of several sheets, and not on one of them. */
static bool stands_in(const Bodies *bodies, int solid, const double *at_m)
{
    const double *centre = bodies->centre_m + 3 * solid;
    for (int s = bodies->solid_first[solid]; s < bodies->solid_first[solid + 1]; s++) {
        const double *normal = bodies->normal + 3 * s;
        double away_m = dot(normal, at_m) - bodies->offset_m[s];
        if ((dot(normal, centre) > bodies->offset_m[s] ? away_m : -away_m) <= END_M) return false;
    }
    return bodies->solid_first[solid + 1] - bodies->solid_first[solid] > 1;
}

/* Add a solid to those in the axes of a line; false without memory. */
bool add_local(const Bodies *bodies, Workspace *work, int number, const Line *line, double wavelength_m, const Image *image)
{
    int solid = number % bodies->solids, clip = !image ? 0 : number < bodies->solids ? 1 : -1;
    int from = bodies->first[bodies->solid_first[solid]], to = bodies->first[bodies->solid_first[solid + 1]], at = 0;
    if (work->place_count) {
        const Local *last = work->places + work->place_count - 1;
        const int32_t *sheets = bodies->solid_first + last->solid % bodies->solids;
        at = last->first_corner + bodies->first[sheets[1]] - bodies->first[sheets[0]];
    }
    if (!make_room(&work->places, &work->place_room, work->place_count + 1, sizeof *work->places)) return false;
    if (!make_room(&work->corners, &work->corner_room, 3 * (at + to - from), sizeof *work->corners)) return false;
    Local one = {number, clip, at, {INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY},
                 {-INFINITY, -INFINITY, -INFINITY, -INFINITY}, false};
    double *local = work->corners + 3 * at;
    for (int c = from; c < to; c++, local += 3) {
        const double *corner = bodies->corner_m + 3 * c;
        double d[3] = {corner[0], corner[1], corner[2]};
        if (clip < 0) mirror_place(image, d);
        for (int i = 0; i < 3; i++) d[i] -= line->start_m[i];
        double u = local[0] = dot(d, line->along), v = local[1] = dot(d, line->up), w = local[2] = dot(d, line->left);
        double share = smaller(larger(u / line->length_m, NEAREST), 1.0 - NEAREST);
        double scale = sqrt(2.0 / (wavelength_m * line->length_m * share * (1.0 - share)));
        one.nu[0] = larger(one.nu[0], v * scale);
        one.nu[1] = larger(one.nu[1], -v * scale);
        one.nu[2] = larger(one.nu[2], w * scale);
        one.nu[3] = larger(one.nu[3], -w * scale);
        for (int axis = 0; axis < 3; axis++) {
            one.low[axis] = smaller(one.low[axis], local[axis]);
            one.high[axis] = larger(one.high[axis], local[axis]);
        }
    }
    double start_m[3], end_m[3];
    for (int i = 0; i < 3; i++) {
        start_m[i] = line->start_m[i];
        end_m[i] = line->start_m[i] + line->length_m * line->along[i];
    }
    if (image) mirror_place(image, start_m);
    one.holds_end = (clip <= 0 && stands_in(bodies, solid, start_m)) || (clip >= 0 && stands_in(bodies, solid, end_m));
    work->places[work->place_count++] = one;
    return true;
}

/* What a wave in a plane loses in passing a solid beside the plane, past its nearest end there; 1e9 for no end. */
static double beside_loss_db(const Bodies *bodies, const Workspace *work, const Local *one, bool upright, int mirror)
{
    int axis = upright ? 2 : 1, other_axis = 3 - axis;
    int solid = one->solid % bodies->solids;
    bool shut[2] = {false, false};
    if (one->holds_end) return 1e9;
    for (int k = bodies->touch_first[solid]; k < bodies->touch_first[solid + 1]; k++) {
        if (bodies->touch[k] == mirror) shut[0] = shut[1] = true; /* goes on in its own image */
        for (int i = 0; i < work->place_count; i++) {
            const Local *other = work->places + i;
            if (other->solid != bodies->touch[k] + one->solid - solid) continue;
            if (other->low[other_axis] > LEVEL_M || other->high[other_axis] < -LEVEL_M) continue;
            shut[0] |= other->high[axis] - one->high[axis] > -LEVEL_M;
            shut[1] |= one->low[axis] - other->low[axis] > -LEVEL_M;
        }
    }
    double best_db = 1e9;
    for (int end = 0; end < 2; end++) {
        double nu = one->nu[(upright ? 2 : 0) + end];
        /* Over something in the line is the upright plane's affair: the level one passes what is grazed. */
        if (!shut[end]) best_db = smaller(best_db, edge_loss_db(nu) + (upright ? 0.0 : SHUT_DB * smooth(nu)));
    }
    return best_db;
}

/* Where the edges of a convex sheet cross a plane beside or through the line: its two places there; false for none. */
static bool cut(const double *corners, int count, int axis, double shift, place_t *ends)
{
    int found = 0, other = 3 - axis;
    for (int i = 0; i < count && found < 2; i++) {
        const double *a = corners + 3 * (i ? i - 1 : count - 1), *b = corners + 3 * i;
        double d1 = a[axis] - shift, d2 = b[axis] - shift;
        if ((d1 > -SAME_M) == (d2 > -SAME_M)) continue;
        double share = fabs(d1 - d2) > 1e-12 ? smaller(larger(d1 / (d1 - d2), 0.0), 1.0) : 0.0;
        ends[found].x = a[0] + share * (b[0] - a[0]);
        ends[found++].y = a[other] + share * (b[other] - a[other]);
    }
    return found == 2;
}

/* Leave of a cut only what lies on its side of the mirror; false where that is nothing. */
static bool before_mirror(place_t *ends, const Line *line, int axis, double shift, const Image *image, int clip)
{
    const double *out = axis == 2 ? line->left : line->up, *off = axis == 2 ? line->up : line->left;
    double away[2];
    for (int k = 0; k < 2; k++) {
        double total = -image->offset_m;
        for (int i = 0; i < 3; i++)
            total += image->normal[i] * (line->start_m[i] + ends[k].x * line->along[i] + ends[k].y * off[i] + shift * out[i]);
        away[k] = total * clip;
    }
    if (away[0] <= SAME_M && away[1] <= SAME_M) return false;
    if (away[0] >= 0.0 && away[1] >= 0.0) return true;
    double share = away[0] / (away[0] - away[1]);
    place_t middle = {ends[0].x + share * (ends[1].x - ends[0].x), ends[0].y + share * (ends[1].y - ends[0].y)};
    ends[away[0] > 0.0 ? 1 : 0] = middle;
    return true;
}

/* What is no mirror lets nothing through to its image: a sheet on either side of its outline, in its plane; false without memory. */
static bool around_mirror(Section *section, bool upright, const Image *image, const Window *window)
{
    int plane = upright ? 0 : 1;
    place_t ends[2] = {window->low[plane], window->high[plane]};
    double size = apart(ends[0], ends[1]);
    if (size < INSIDE_M) return true;
    double dx = (ends[1].x - ends[0].x) / size * FAR_M, dy = (ends[1].y - ends[0].y) / size * FAR_M;
    for (int end = 0; end < 2; end++) {
        double side = end ? 1.0 : -1.0, x1 = ends[end].x, y1 = ends[end].y;
        if (!(fabs(y1) < FAR_M)) continue;
        Segment segment = {.x1 = x1,
                           .y1 = y1,
                           .x2 = x1 + side * dx,
                           .y2 = y1 + side * dy,
                           .loss_db = 1e3,
                           .beside_db = 1e9,
                           .solid = -1,
                           .sheet = image->sheet};
        if (!make_room(&section->segments, &section->room, section->count + 1, sizeof *section->segments)) return false;
        section->segments[section->count++] = segment;
    }
    return true;
}

/* Whether a solid has a corner in a plane of the line. */
static bool has_corner_in_plane(const Bodies *bodies, const Workspace *work, const Local *one, int axis)
{
    const int32_t *sheets = bodies->solid_first + one->solid % bodies->solids;
    const double *corner = work->corners + 3 * one->first_corner;
    for (int count = bodies->first[sheets[1]] - bodies->first[sheets[0]]; count > 0; count--, corner += 3)
        if (fabs(corner[axis]) < SAME_M) return true;
    return false;
}

/* What the solids that are used cut from the upright or the level plane of a line; false without memory. */
bool section_of(const Bodies *bodies, Workspace *work, Section *section, const uint8_t *used, const Line *line, bool upright, bool pass_beside,
                const Image *image, const Window *window)
{
    int mirror = image ? bodies->solid[image->sheet] : -1;
    int axis = upright ? 2 : 1;
    const double *normal_up = upright ? line->up : line->left;
    section->count = 0;
    for (int i = 0; i < work->place_count; i++) {
        const Local *one = work->places + i;
        double low = one->low[axis], high = one->high[axis], shift = 0.0;
        if ((used && !used[i]) || high - low < SAME_M) continue;
        if (low > -SAME_M || high < SAME_M) { /* beside the plane */
            const double *ends = one->nu + (upright ? 2 : 0);
            if (smaller(ends[0], ends[1]) <= BESIDE_NU || one->high[0] <= SAME_M || one->low[0] >= line->length_m - SAME_M) continue;
            double inside_m = smaller(INSIDE_M, 0.5 * (high - low));
            shift = low > -SAME_M ? low + inside_m : high - inside_m;
        } else if (has_corner_in_plane(bodies, work, one, axis)) { /* no tie: the cut lies beside it, towards the nearer end */
            shift = low + high > 0.0 ? -CLEAR_M : CLEAR_M;
        }
        double beside_db = pass_beside ? beside_loss_db(bodies, work, one, upright, mirror) : 1e9;
        const int32_t *sheets = bodies->solid_first + one->solid % bodies->solids;
        int first_corner = bodies->first[sheets[0]];
        for (int s = sheets[0]; s < sheets[1]; s++) {
            place_t ends[2];
            const double *corners = work->corners + 3 * (one->first_corner + bodies->first[s] - first_corner);
            if (!cut(corners, bodies->first[s + 1] - bodies->first[s], axis, shift, ends)) continue;
            if (image && !before_mirror(ends, line, axis, shift, image, one->clip)) continue;
            if (apart(ends[0], ends[1]) < INSIDE_M) continue;
            const double *square = bodies->normal + 3 * s;
            double normal[3] = {square[0], square[1], square[2]};
            if (one->clip < 0) {
                double away = dot(normal, image->normal);
                for (int i = 0; i < 3; i++) normal[i] -= 2.0 * away * image->normal[i];
            }
            if (!make_room(&section->segments, &section->room, section->count + 1, sizeof *section->segments)) return false;
            Segment segment = {.x1 = ends[0].x,
                               .y1 = ends[0].y,
                               .x2 = ends[1].x,
                               .y2 = ends[1].y,
                               .loss_db = bodies->loss_db[s],
                               .beside_db = beside_db,
                               .nx = dot(normal, line->along),
                               .ny = dot(normal, normal_up),
                               .solid = one->solid,
                               .sheet = s,
                               .table = bodies->table[s] < 0 ? NULL : bodies->table_db + bodies->table[s] * bodies->table_steps,
                               .table_count = bodies->table_steps};
            section->segments[section->count++] = segment;
        }
    }
    if (image && window && !around_mirror(section, upright, image, window)) return false;
    if (!join(section)) return false;
    for (int number = 0; number < section->corner_count; number++) { /* nothing turns below the ground, or far off around a mirror */
        Corner *corner = section->corners + number;
        double height_m = line->start_m[2] + corner->x * line->along[2] + corner->y * (upright ? line->up[2] : line->left[2]);
        bool beyond = false;
        for (int i = 0; i < corner->arm_count; i++) beyond |= section->segments[corner->arms[i].segment].solid < 0;
        if (height_m < 0.5 * DEEP_M || (beyond && fabs(corner->y) > 0.5 * FAR_M)) corner->flat = true;
    }
    return true;
}
