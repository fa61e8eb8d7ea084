/* The rule for one line, see survey/propagation/around/rule.py. */

#include "around.h"

/* Spheres around all solids in the axes of a line, and around their images behind a mirror; false without memory. */
static bool places_of(const Bodies *bodies, Workspace *work, const Line *line, const Image *image)
{
    int count = bodies->solids, most = image ? 2 * count : count;
    work->sphere_count = 0;
    if (!make_room(&work->spheres, &work->sphere_room, most, sizeof *work->spheres)) return false;
    for (int number = 0; number < most; number++) {
        int q = number % count;
        const double *centre = bodies->centre_m + 3 * q;
        double d[3] = {centre[0], centre[1], centre[2]}, radius_m = bodies->radius_m[q];
        if (image) {
            double away = dot(d, image->normal) - image->offset_m;
            if (away < -radius_m || bodies->solid[image->sheet] == q) continue;
            if (number >= count)
                for (int i = 0; i < 3; i++) d[i] -= 2.0 * away * image->normal[i];
        }
        for (int i = 0; i < 3; i++) d[i] -= line->start_m[i];
        double along = dot(d, line->along);
        Sphere sphere = {number, along, sqrt(larger(dot(d, d) - along * along, 0.0)), radius_m};
        work->spheres[work->sphere_count++] = sphere;
    }
    return true;
}

static double distance_m(const Sphere *one, const Line *line)
{
    double beyond = larger(larger(-one->along_m, one->along_m - line->length_m), 0.0);
    return sqrt(one->off_m * one->off_m + beyond * beyond);
}

static double detour_m(const Sphere *one, const Line *line)
{
    double rest = line->length_m - one->along_m, square = one->off_m * one->off_m;
    double both = sqrt(square + one->along_m * one->along_m) + sqrt(square + rest * rest);
    return larger(both - 2.0 * one->radius_m - line->length_m, 0.0);
}

static double graze_nu(const Local *one)
{
    return smaller(smaller(one->nu[0], one->nu[1]), smaller(one->nu[2], one->nu[3]));
}

/* Whether a solid stands in a line or near enough to be grazed. */
static bool counts(const Local *one, const Line *line)
{
    return graze_nu(one) > LEAST_NU && one->high[0] > TOUCH_M && one->low[0] < line->length_m - TOUCH_M;
}

/* What the line itself goes through: its loss, and which solids, in work->crossed. Gives how many sheets, -1 without memory. */
static int straight_loss_db(const Bodies *bodies, Workspace *work, const Line *line, const Image *image, double *through_db)
{
    Section *section = work->sections + 2;
    Scratch *scratch = work->scratch + 2;
    place_t from = {0.0, 0.0}, to = {line->length_m, 0.0};
    Met met;
    memset(work->crossed, 0, 2 * (size_t)bodies->solids);
    for (int i = 0; i < work->place_count; i++)
        work->used[2 * bodies->solids + i] = work->used[i] && work->places[i].low[2] < -TOUCH_M && work->places[i].high[2] > TOUCH_M;
    if (!section_of(bodies, work, section, work->used + 2 * bodies->solids, line, true, false, image, NULL)) return -1;
    scratch->passed_count = scratch->beside_count = 0;
    if (!met_by_leg(section, scratch, from, to, -1, -1, 1e9, -1, &met)) return -1;
    if (!make_room(&work->through, &work->through_room, met.passed_count, sizeof *work->through)) return -1;
    for (int i = 0; i < met.passed_count; i++) {
        const Segment *one = section->segments + scratch->passed[i];
        work->crossed[one->solid] = 1;
        work->through[i] = one->sheet;
    }
    work->through_count = met.passed_count;
    *through_db = met.loss_db;
    return met.passed_count;
}

/* Field behind a sharp edge; 1 far above it. */
static complex_t beyond_edge(Integrals *integrals, double nu)
{
    double weight = smooth((nu - LEAST_NU) / (FULL_NU - LEAST_NU));
    complex_t one = {1.0, 0.0}, none = {0.0, 0.0}, soft;
    if (weight <= 0.0) return one;
    if (nu > 12.0) return none;
    Station edge = {.at_m = 1.0, .low_m = 0.5 * nu, .high_m = INFINITY, .gain = 1.0}; /* a leg and a wavelength of 1 m */
    field(integrals, &edge, NULL, 1, 2.0, 1.0, &one, &soft);
    one.re = 1.0 + weight * (one.re - 1.0);
    one.im *= weight;
    return one;
}

/* What a window between two edges leaves of a wave that meets it at nu = 0, amplitude; seen from its nearer edge. */
double opening(Integrals *integrals, double low, double high)
{
    if (low < -high) {
        double other = -low;
        low = -high;
        high = other;
    }
    if (low > MAX_OPEN_NU) return 0.0;
    double inside = smooth(-low);
    complex_t one = beyond_edge(integrals, low), none = {0.0, 0.0}, far = inside < 1.0 ? beyond_edge(integrals, high) : none;
    complex_t back = inside > 0.0 ? beyond_edge(integrals, -high) : none;
    one.re -= (1.0 - inside) * far.re + inside * (1.0 - back.re);
    one.im -= (1.0 - inside) * far.im - inside * back.im;
    return sqrt(power_of(one)) * smooth(MAX_OPEN_NU - low);
}

/* What a string loses in foliage; NaN without memory. */
static double string_in_plants_db(const Bodies *bodies, Workspace *work, const Section *section, const Path *path, const Line *line,
                                  bool upright, const Image *image)
{
    const double *off = upright ? line->up : line->left;
    double points[3 * (MAX_CORNERS + 2)];
    int count = path->corner_count + 2;
    if (!bodies->plants) return 0.0;
    for (int i = 0; i < count; i++) {
        place_t at = {i ? line->length_m : 0.0, 0.0};
        if (i && i + 1 < count) at = corner_place(section, path->corners[i - 1]);
        for (int k = 0; k < 3; k++) points[3 * i + k] = line->start_m[k] + at.x * line->along[k] + at.y * off[k];
    }
    return plants_loss_db(bodies, work, points, count, image);
}

/* Whether a string passes a solid beside the plane. */
static bool passes_beside(const Scratch *scratch, const Path *path, int solid)
{
    for (int step = path->step; step >= 0; step = scratch->steps[step].before)
        for (int i = 0; i < scratch->steps[step].beside_count; i++)
            if (scratch->beside_solids[scratch->steps[step].first_beside + i] == solid) return true;
    return false;
}

/* What is left of a string around things that others pass beside the plane: 1 - F, as past the corner of a wall. */
static double not_beside(const Section *section, const Scratch *scratch, const Plane *plane, const Path *path)
{
    double left = 1.0;
    if (!plane->mixed_count) return left;
    for (int i = 0; i < path->corner_count; i++) {
        const Corner *corner = section->corners + path->corners[i];
        for (int k = 0; k < corner->arm_count; k++) {
            const Segment *one = section->segments + corner->arms[k].segment;
            bool beside = false, done = false;
            for (int j = 0; j <= i && !done; j++) { /* arms before this one, of this corner and of those before */
                const Corner *before = section->corners + path->corners[j];
                for (int l = 0; l < (j < i ? before->arm_count : k); l++)
                    done |= section->segments[before->arms[l].segment].solid == one->solid;
            }
            for (int j = 0; j < plane->mixed_count && !done; j++) beside |= passes_beside(scratch, plane->mixed[j]->path, one->solid);
            if (beside) left *= 1.0 - pow(10.0, -one->beside_db / 20.0);
        }
    }
    return left;
}

/* Everything in one plane, whose section may be there already; false without memory. */
static bool plane_of(const Bodies *bodies, Workspace *work, Integrals *integrals, const Line *line, bool upright, bool is_cut,
                     double wavelength_m, double most_db, const Image *image, const Window *window)
{
    int number = upright ? 0 : 1;
    Plane *plane = work->planes + number;
    plane->around_count = plane->mixed_count = 0;
    plane->straight = NULL;
    if (!is_cut && !section_of(bodies, work, work->sections + number, work->used, line, upright, true, image, window)) return false;
    int count = arrivals(work->sections + number, work->scratch + number, integrals, line->length_m, wavelength_m, most_db, plane->found);
    for (int i = 0; i < count; i++) {
        Arrival *one = plane->found + i;
        double plants_db = string_in_plants_db(bodies, work, work->sections + number, one->path, line, upright, image);
        if (!(plants_db >= 0.0)) return false;
        if (plants_db > 0.0) *one = scaled(one, pow(10.0, -plants_db / 20.0));
        if (window) *one = scaled(one, window->leaves[1 - number]);
        if (!one->path->corner_count) {
            if (!one->path->passed_count && !one->path->beside_count) plane->straight = one;
        } else if (one->path->beside_count) {
            plane->mixed[plane->mixed_count++] = one;
        } else {
            plane->around[plane->around_count++] = one;
        }
    }
    for (int i = 0; i < plane->around_count; i++) {
        plane->less[i] = scaled(plane->around[i], not_beside(work->sections + number, work->scratch + number, plane, plane->around[i]->path));
        plane->around[i] = plane->less + i;
    }
    double most = plane->straight ? mean_power(plane->straight) : 0.0;
    for (int i = 0; i < plane->around_count; i++) most = larger(most, mean_power(plane->around[i]));
    for (int i = 0; i < plane->mixed_count; i++) most = larger(most, mean_power(plane->mixed[i]));
    if (window) most /= window->leaves[1 - number] * window->leaves[1 - number];
    plane->least_db = most > 0.0 ? -10.0 * log10(most) : INFINITY;
    return count >= 0;
}

/* What the string of the lowest bound that turns loses, roughly; most_db where there is none, NaN without memory. */
static double rough_loss_db(const Bodies *bodies, Workspace *work, const Line *line, bool upright, double wavelength_m, double most_db,
                            const Image *image, const Window *window)
{
    Section *section = work->sections + (upright ? 0 : 1);
    Scratch *scratch = work->scratch + (upright ? 0 : 1);
    if (!section_of(bodies, work, section, work->used, line, upright, true, image, window) || !search(section, scratch, line->length_m)) return NAN;
    for (;;) {
        Path *path = scratch->found;
        int more = next_string(section, scratch, line->length_m, wavelength_m, most_db, path);
        if (more < 0) return NAN;
        if (!more) return most_db;
        if (path->corner_count) return path->bound_db + ROUGH_DB;
    }
}

/* What edges that a line clears leave of it, amplitudes, by polarisation; work->used tells which solids. */
static bool straight_amplitude(const Bodies *bodies, Workspace *work, Integrals *integrals, const Line *line, double wavelength_m,
                               const Image *image, double *result)
{
    uint8_t *own = work->used + 2 * bodies->solids;
    Section *section = work->sections + 2;
    Path path = {.length_m = line->length_m, .step = -1};
    place_t points[2] = {{0.0, 0.0}, {line->length_m, 0.0}};
    result[0] = result[1] = 1.0;
    for (int plane = 0; plane < 2; plane++) {
        bool upright = plane == 0, some = false;
        for (int i = 0; i < work->place_count; i++) {
            const double *nu = work->places[i].nu;
            own[i] = work->used[i] && (smaller(nu[0], nu[1]) <= smaller(nu[2], nu[3]) + SAME_NU) == upright;
            some |= own[i];
        }
        if (!some) continue;
        if (!section_of(bodies, work, section, own, line, upright, false, image, NULL)) return false;
        Edge edges[ROOM_STATIONS];
        Station stations[ROOM_STATIONS];
        Face faces[ROOM_STATIONS];
        double factor;
        complex_t hard, soft;
        work->scratch[2].passed_count = work->scratch[2].beside_count = 0;
        int count = edges_along(section, work->scratch + 2, &path, points, 2, wavelength_m, edges, &factor);
        if (count < 0) return false;
        count = stations_of(section, edges, count, line->length_m, wavelength_m, stations, faces);
        field(integrals, stations, faces, count, line->length_m, wavelength_m, &hard, &soft);
        double root = sqrt(factor);
        result[0] *= root * sqrt(power_of(upright ? hard : soft));
        result[1] *= root * sqrt(power_of(upright ? soft : hard));
    }
    return true;
}

static double pick(powers_t powers, bool hard) { return hard ? powers.hard : powers.soft; }

/* Power of two planes with these amplitudes. */
static double together(double one, double other)
{
    double most = larger(one, other), strong = smaller(most, 1.0), weak = smaller(one, other);
    if (weak <= 0.0) return most <= 1.0 ? most * most : strong;
    double weak_db = -20.0 * log10(weak), share = smooth((NONE_DB - weak_db) / (NONE_DB - FULL_DB)), both = strong + weak - strong * weak;
    return share * both * both + (1.0 - share) * (strong * strong + weak * weak);
}

/* Both planes joined, for a vertical field (hard over the top, soft past the sides) or a horizontal one. */
static Power joined(const Plane *upright, const Plane *level, double straight, bool clear, bool hard_over)
{
    const Arrival *sides[2][ROOM_STRINGS];
    int side_count[2] = {0, 0};
    for (int i = 0; i < level->around_count; i++) {
        int right = level->around[i]->left ? 0 : 1;
        sides[right][side_count[right]++] = level->around[i];
    }
    const Arrival *ways[2][ROOM_STRINGS + 1];
    int way_count[2];
    const Plane *planes[2] = {upright, level};
    bool straights[2];
    for (int i = 0; i < 2; i++) {
        way_count[i] = planes[i]->around_count;
        memcpy(ways[i], planes[i]->around, (size_t)way_count[i] * sizeof **ways);
        straights[i] = clear && planes[i]->straight;
        if (straights[i]) ways[i][way_count[i]++] = planes[i]->straight;
    }
    double over = pick(joined_power(ways[0], way_count[0]), hard_over);
    double left = pick(joined_power(sides[0], side_count[0]), !hard_over), right = pick(joined_power(sides[1], side_count[1]), !hard_over);
    double beside = pick(joined_power(ways[1], way_count[1]), !hard_over), grow = beside / larger(left + right, NOTHING);
    left *= grow;
    right *= grow;
    double mixed_1 = pick(joined_power(upright->mixed, upright->mixed_count), hard_over);
    double mixed_2 = pick(joined_power(level->mixed, level->mixed_count), !hard_over);
    double first = sqrt(over), second = sqrt(beside), total;
    if (clear && !straights[0] && !straights[1]) {
        double weak = smaller(first, second);
        total = together(straight, larger(first, second)) + weak * weak;
    } else if (clear && straights[0] && !straights[1]) {
        total = together(larger(first, straight), second);
    } else if (clear && straights[1] && !straights[0]) {
        total = together(first, larger(second, straight));
    } else {
        total = together(first, second);
    }
    if (clear) {
        Power all = {0.0, 0.0, 0.0, smaller(total + larger(mixed_1, mixed_2) * larger(1.0 - total, 0.0), 1.0)};
        return all;
    }
    total = smaller(total, 1.0);
    double scale = total / larger(over + beside, NOTHING);
    over *= scale;
    left *= scale;
    right *= scale;
    if (mixed_1 > mixed_2) {
        over += mixed_1;
    } else {
        double share = left / larger(left + right, NOTHING);
        left += mixed_2 * share;
        right += mixed_2 * (1.0 - share);
    }
    double whole = over + left + right;
    if (whole > 1.0) {
        over /= whole;
        left /= whole;
        right /= whole;
    }
    Power power = {over, left, right, straight * straight};
    return power;
}

/* The line itself in a plane: at most what it keeps of passing all that is near over or under it, or beside it. */
static void clear_all(Workspace *work, int number, const uint8_t *near)
{
    Plane *plane = work->planes + number;
    if (!plane->straight) return;
    double loss_db = 0.0;
    for (int i = 0; i < work->place_count; i++) {
        const Local *one = work->places + i;
        if (near[i] && graze_nu(one) > BESIDE_NU) loss_db += edge_loss_db(smaller(one->nu[2 * number], one->nu[2 * number + 1]));
    }
    plane->cleared = weaker(plane->straight, pow(10.0, -loss_db / 20.0));
    plane->straight = loss_db > 2.0 * NONE_DB ? NULL : &plane->cleared;
}

/* Ways around for one line, or for one unfolded at a mirror: 1 where something stands near it, 0 where nothing does, -1 without
   memory. */
int line_powers(const Bodies *bodies, Workspace *work, Integrals *integrals, const Line *line, double wavelength_m, const Image *image,
                const Window *window, double worth_db, Found *found)
{
    double reach = -LEAST_NU * sqrt(wavelength_m * line->length_m / 8.0), through_db, straight[2];
    bool some = false;
    if (!make_room(&work->chosen, &work->chosen_room, 2 * bodies->solids, 1) ||
        !make_room(&work->crossed, &work->crossed_room, 2 * bodies->solids, 1) ||
        !make_room(&work->used, &work->used_room, 6 * bodies->solids, 1) || !places_of(bodies, work, line, image))
        return -1;
    work->place_count = 0;
    for (int i = 0; i < work->sphere_count; i++) {
        const Sphere *sphere = work->spheres + i;
        work->chosen[i] = distance_m(sphere, line) < sphere->radius_m + reach;
        if (work->chosen[i] && !add_local(bodies, work, sphere->number, line, wavelength_m, image)) return -1;
    }
    for (int i = 0; i < work->place_count; i++) {
        const Local *one = work->places + i;
        work->used[i] = counts(one, line);
        some |= work->used[i];
    }
    if (!some) return 0;
    int crossed = straight_loss_db(bodies, work, line, image, &through_db);
    if (crossed < 0) return -1;
    double most_db = smaller(worth_db, (through_db != 0.0 ? through_db : MAX_LOSS_DB) + MARGIN_DB);
    if (crossed) memset(work->used, 1, (size_t)work->place_count);
    bool straight_only = image && !crossed, is_cut = false;
    if (crossed && work->place_count < work->sphere_count) {
        double best_db = through_db;
        for (int plane = 0; plane < 2; plane++) {
            double rough_db = rough_loss_db(bodies, work, line, plane == 0, wavelength_m, smaller(most_db, best_db), image, window);
            if (!(rough_db > -INFINITY)) return -1;
            best_db = smaller(best_db, rough_db);
        }
        is_cut = true;
        for (int i = 0; i < work->sphere_count; i++) {
            const Sphere *sphere = work->spheres + i;
            if (work->chosen[i] || edge_loss_db(2.0 * sqrt(detour_m(sphere, line) / wavelength_m)) > best_db) continue;
            if (!add_local(bodies, work, sphere->number, line, wavelength_m, image)) return -1;
            work->chosen[i] = 1;
            is_cut = false;
        }
        if (!is_cut) memset(work->used, 1, (size_t)work->place_count);
    }
    for (int plane = 0; plane < 2 && !straight_only; plane++) {
        if (!plane_of(bodies, work, integrals, line, plane == 0, is_cut, wavelength_m, most_db, image, window)) return -1;
        most_db = smaller(most_db, work->planes[0].least_db + OTHER_DB);
    }
    double deepest = -INFINITY;
    uint8_t *near = work->used + 4 * bodies->solids;
    memcpy(near, work->used, (size_t)work->place_count);
    found->nearest = -1;
    for (int i = 0; i < work->place_count; i++) {
        const Local *one = work->places + i;
        work->used[i] = work->used[i] && through_db <= MAX_LOSS_DB && !work->crossed[one->solid] && counts(one, line);
        if (!work->used[i] || graze_nu(one) <= deepest) continue;
        deepest = graze_nu(one);
        found->nearest = one->solid;
    }
    if (!straight_amplitude(bodies, work, integrals, line, wavelength_m, image, straight)) return -1;
    found->through_db = through_db;
    found->clear = !crossed;
    if (straight_only) {
        for (int horizontal = 0; horizontal < 2; horizontal++) {
            Power power = {0.0, 0.0, 0.0, straight[horizontal] * straight[horizontal]};
            found->powers[horizontal] = power;
        }
        return 1;
    }
    if (!crossed) { /* in each plane only as far as the line clears everything in that plane */
        clear_all(work, 0, near);
        clear_all(work, 1, near);
    }
    for (int horizontal = 0; horizontal < 2; horizontal++)
        found->powers[horizontal] = joined(work->planes, work->planes + 1, straight[horizontal], !crossed, !horizontal);
    return 1;
}

