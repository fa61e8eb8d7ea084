/* A string made ready for its integral, see survey/propagation/around/string.py. */

#include "around.h"

double smooth(double share)
{
    share = share < 0.0 ? 0.0 : share > 1.0 ? 1.0 : share;
    return share * share * (3.0 - 2.0 * share);
}

double wedge_gain(double turn_rad, double n)
{
    if (turn_rad < 1e-6 || n > 1.9999) return 1.0;
    double wedge = sin(PI / n) / n / (cos(PI / n) - cos((PI + turn_rad) / n));
    return wedge * 2.0 * sin(turn_rad / 2.0);
}

static double angle_between(double cosine) { return acos(cosine < -1.0 ? -1.0 : cosine > 1.0 ? 1.0 : cosine); }

double outer_angle(Section *section, int corner)
{
    Corner *here = section->corners + corner;
    if (here->outer >= 0.0) return here->outer;
    double widest = 0.0;
    for (int i = 0; i < here->arm_count; i++)
        for (int j = 0; j < i; j++)
            widest = larger(widest, angle_between(here->arms[i].dx * here->arms[j].dx + here->arms[i].dy * here->arms[j].dy));
    return here->outer = 2.0 - widest / PI;
}

bool holds(Members one, int segment)
{
    if (!one.arms) return one.count && one.single == segment;
    for (int i = 0; i < one.count; i++)
        if (one.arms[i].segment == segment) return true;
    return false;
}

bool share_one(Members one, Members other)
{
    if (!one.arms) return one.count && holds(other, one.single);
    for (int i = 0; i < one.count; i++)
        if (holds(other, one.arms[i].segment)) return true;
    return false;
}

Members members_of(const Section *section, int corner)
{
    Members all = {section->corners[corner].arms, section->corners[corner].arm_count, -1};
    return all;
}

/* The angle between a leg and the face nearest to it. */
static double nearest_face(const Corner *here, place_t point)
{
    double dx = point.x - here->x, dy = point.y - here->y, leg_m = larger(sqrt(dx * dx + dy * dy), 1e-9), most = -1.0;
    for (int i = 0; i < here->arm_count; i++) most = larger(most, (dx * here->arms[i].dx + dy * here->arms[i].dy) / leg_m);
    return angle_between(most);
}

void image_at(Section *section, int corner, place_t before, place_t beyond, double turn_rad, double image[2])
{
    const Corner *here = section->corners + corner;
    double n = outer_angle(section, corner);
    image[0] = image[1] = 0.0;
    if (!here->arm_count || n < 1.01) return;
    turn_rad = fabs(turn_rad);
    double term = 1.0 / larger(cos(PI / n) + cos((nearest_face(here, before) - nearest_face(here, beyond)) / n), 0.1);
    image[0] = 1.0;
    image[1] = larger(wedge_gain(turn_rad, n) * n / (sin(PI / n) * term) - 2.0 * sin(turn_rad / 2.0), 0.0);
}

/* How much an edge far below a line adds to the amplitude, from the Fresnel integrals' first terms. */
double ripple(double nu)
{
    double phase = 0.5 * PI * nu * nu;
    return (sin(phase) - cos(phase)) / (2.0 * PI * larger(fabs(nu), 1.0));
}

/* Depth of an edge below what stands on its side before and behind it, or below any of a string's corners too. */
static double nu_between(const Edge *edges, int count, const Edge *edge, bool every, double whole_m, double wavelength_m)
{
    double before_m = 0.0, before_off = 0.0, beyond_m = whole_m, beyond_off = 0.0;
    for (int i = 0; i < count; i++) {
        const Edge *other = edges + i;
        if (other->left != edge->left && !(every && other->turn != 0.0)) continue;
        if (before_m < other->at_m && other->at_m <= edge->at_m) {
            before_m = other->at_m;
            before_off = other->off_m;
        } else if (edge->at_m < other->at_m && other->at_m < beyond_m) {
            beyond_m = other->at_m;
            beyond_off = other->off_m;
        }
    }
    double d1 = larger(edge->at_m - before_m, 1e-3), d2 = larger(beyond_m - edge->at_m, 1e-3);
    double level = (before_off * d2 + beyond_off * d1) / (d1 + d2), depth = (edge->off_m - level) * (edge->left ? 1.0 : -1.0);
    return -depth * sqrt(2.0 / wavelength_m * (1.0 / d1 + 1.0 / d2));
}

/* How deep an edge beside a string lies, seen from its neighbours; corners on the other side count by half. */
static double local_nu(const Edge *edges, int count, const Edge *edge, double whole_m, double wavelength_m)
{
    return smaller(nu_between(edges, count, edge, false, whole_m, wavelength_m),
                   0.5 * nu_between(edges, count, edge, true, whole_m, wavelength_m));
}

static bool on_path(const Path *path, int corner)
{
    for (int i = 0; i < path->corner_count; i++)
        if (path->corners[i] == corner) return true;
    return false;
}

/* Whether two corners bound a slit in one face, and not the joint of two. */
static bool in_one_face(const Section *section, int corner, int other)
{
    if (other < 0) return false;
    const Corner *one = section->corners + corner, *two = section->corners + other;
    for (int i = 0; i < one->arm_count; i++)
        for (int j = 0; j < two->arm_count; j++)
            if (one->arms[i].dx * two->arms[j].dx + one->arms[i].dy * two->arms[j].dy < -0.95) return true;
    return false;
}

/* How far a gap between two corners, or a corner and a face (-1), counts as one, amplitude. */
static double drawn_open(const Section *section, int corner, int other, double gap_m)
{
    bool slit = in_one_face(section, corner, other);
    double shut_m = slit ? SHUT_M : SHORT_M, free_m = slit ? OPEN_M : FREE_M;
    return smooth((gap_m - shut_m) / (free_m - shut_m));
}

/* How far the gap counts that a string goes through as it turns at a corner: to what lies on its outer side. */
static double gate_gain(const Section *section, int corner, double ux, double uy, double vx, double vy, bool left)
{
    const Corner *here = section->corners + corner;
    double side = left ? -1.0 : 1.0, least = 1.0;
    for (int number = 0; number < section->corner_count; number++) {
        const Corner *other = section->corners + number;
        double qx = other->x - here->x, qy = other->y - here->y;
        if (fabs(qx) > FREE_M || fabs(qy) > FREE_M || number == corner || other->loss_db < OPAQUE_DB) continue;
        double gap_m = sqrt(qx * qx + qy * qy);
        if (gap_m > FREE_M || larger(side * (ux * qy - uy * qx), side * (vx * qy - vy * qx)) <= TOUCH_M) continue;
        if (share_one(members_of(section, corner), members_of(section, number))) continue;
        least = smaller(least, drawn_open(section, corner, number, gap_m));
    }
    for (int number = 0; number < section->count; number++) {
        const Segment *one = section->segments + number;
        if (one->loss_db < OPAQUE_DB || section->ends[number][0] == corner || section->ends[number][1] == corner) continue;
        double dx = one->x2 - one->x1, dy = one->y2 - one->y1, size = larger(one->size_m, TOUCH_M);
        double along = ((here->x - one->x1) * dx + (here->y - one->y1) * dy) / size;
        if (!(TOUCH_M < along && along < size - TOUCH_M)) continue;
        double qx = one->x1 + along * dx / size - here->x, qy = one->y1 + along * dy / size - here->y, gap_m = sqrt(qx * qx + qy * qy);
        if (gap_m < FREE_M && larger(side * (ux * qy - uy * qx), side * (vx * qy - vy * qx)) > TOUCH_M)
            least = smaller(least, drawn_open(section, corner, -1, gap_m));
    }
    return least;
}

/* Which of two edges beside a string counts first. */
static bool comes_before(const Edge *one, const Edge *other)
{
    return one->rank > other->rank || (one->rank == other->rank && one->at_m < other->at_m);
}

/* Whether two edges have a solid in common. */
static bool share_solid(const Section *section, const Edge *one, const Edge *other)
{
    for (int i = 0; i < one->segments.count; i++)
        for (int j = 0; j < other->segments.count; j++)
            if (section->segments[one->segments.arms[i].segment].solid == section->segments[other->segments.arms[j].segment].solid) return true;
    return false;
}

/* The edge where a string turns at the beginning of a leg. */
static Edge turning(Section *section, const Path *path, const place_t *points, int leg, double at_m, double dx, double dy)
{
    place_t last = points[leg - 1], here = points[leg];
    double px = here.x - last.x, py = here.y - last.y, before = sqrt(px * px + py * py);
    px /= before;
    py /= before;
    double turn_rad = atan2(px * dy - py * dx, px * dx + py * dy), mx = px + dx, my = py + dy;
    double middle = larger(sqrt(mx * mx + my * my), 1e-9);
    int corner = path->corners[leg - 1];
    Edge edge = {.at_m = at_m,
                 .turn = 2.0 * sin(turn_rad / 2.0),
                 .gain = wedge_gain(fabs(turn_rad), outer_angle(section, corner)) * gate_gain(section, corner, px, py, dx, dy, turn_rad > 0),
                 .corner = corner,
                 .left = turn_rad > 0,
                 .segments = members_of(section, corner),
                 .tangent = {mx / middle, my / middle}};
    image_at(section, corner, last, points[leg + 1], turn_rad, edge.image);
    return edge;
}

/* On which side a sheet lies that a leg runs along, +1 for left: by the turn at its other end; 0 without a turn. */
static double along_side(const Section *section, const Path *path, const place_t *points, int leg, int number)
{
    for (int i = leg; i <= leg + 1; i++) {
        if (i < 1 || i > path->corner_count || !share_one(members_of(section, path->corners[i - 1]), members_of(section, number))) continue;
        place_t a = points[i - 1], b = points[i], c = points[i + 1];
        return (b.x - a.x) * (c.y - b.y) - (b.y - a.y) * (c.x - b.x) > 0.0 ? 1.0 : -1.0;
    }
    return 0.0;
}

/* Whether a corner beside a leg is an edge of what is open to the leg; where it is, at_m, off_m, nu and left are put in. */
static int is_beside(const Section *section, Scratch *scratch, const Path *path, const place_t *points, int leg, int number, double dx, double dy,
                     double size, double at_m, double whole_m, double wavelength_m, Edge *edge)
{
    place_t from = points[leg];
    const Corner *corner = section->corners + number;
    double along = (corner->x - from.x) * dx + (corner->y - from.y) * dy, off = (corner->y - from.y) * dx - (corner->x - from.x) * dy;
    if (!(END_M < along && along < size - END_M)) return 0;
    double s = at_m + along, nu = -fabs(off) * sqrt(2.0 * whole_m / (wavelength_m * s * (whole_m - s)));
    if (nu < LEAST_NU) return 0;
    bool left = off > TOUCH_M;
    if (fabs(off) <= TOUCH_M) {
        double sum = 0.0;
        for (int i = 0; i < corner->arm_count; i++) sum += dx * corner->arms[i].dy - dy * corner->arms[i].dx;
        if (fabs(sum) <= TOUCH_M) sum = along_side(section, path, points, leg, number); /* the string runs along it */
        if (sum == 0.0) return 0;
        left = sum > 0.0;
    }
    double sign = left ? 1.0 : -1.0;
    for (int i = 0; i < corner->arm_count; i++)
        if (sign * (dx * corner->arms[i].dy - dy * corner->arms[i].dx) < -STEEP - TOUCH_M) return 0;
    if (fabs(off) > 0.01) {
        place_t foot = {from.x + along * dx, from.y + along * dy};
        Met hidden;
        if (!met_by_leg(section, scratch, foot, corner_place(section, number), -1, number, 0.0, path->step, &hidden)) return -1;
        if (hidden.loss_db > 0.0) return 0;
    }
    edge->at_m = s;
    edge->off_m = off;
    edge->nu = nu;
    edge->left = left;
    return 1;
}

/* Gives how many edges there are, -1 without memory. */
int edges_along(Section *section, Scratch *scratch, const Path *path, const place_t *points, int point_count, double wavelength_m,
                Edge *edges, double *factor)
{
    double at_m = 0.0, whole_m = 0.0;
    int count = 0, beside = 0;
    *factor = 1.0;
    for (int i = 0; i + 1 < point_count; i++) whole_m += apart(points[i], points[i + 1]);
    for (int leg = 0; leg + 1 < point_count; leg++) {
        place_t from = points[leg];
        double dx = points[leg + 1].x - from.x, dy = points[leg + 1].y - from.y, size = sqrt(dx * dx + dy * dy);
        dx /= size;
        dy /= size;
        if (leg > 0) edges[count++] = turning(section, path, points, leg, at_m, dx, dy);
        for (int number = 0; number < section->corner_count; number++) {
            const Corner *corner = section->corners + number;
            if (corner->flat || !corner->arm_count || on_path(path, number)) continue;
            Edge edge = {.gain = 1.0, .corner = number, .segments = members_of(section, number), .tangent = {dx, dy}, .from = from, .to = points[leg + 1]};
            int found = is_beside(section, scratch, path, points, leg, number, dx, dy, size, at_m, whole_m, wavelength_m, &edge);
            if (found < 0) return -1;
            if (!found) continue;
            if (!make_room(&scratch->beside, &scratch->beside_room, beside + 1, sizeof *scratch->beside)) return -1;
            edge.rank = nearbyint(edge.nu / SAME_NU);
            int place = beside++; /* the nearest first, of equal ones that before */
            for (; place > 0 && comes_before(&edge, scratch->beside + place - 1); place--) scratch->beside[place] = scratch->beside[place - 1];
            scratch->beside[place] = edge;
        }
        at_m += size;
    }
    for (int i = 0; i < beside; i++) {
        Edge edge = scratch->beside[i];
        double nu = local_nu(edges, count, &edge, whole_m, wavelength_m), weight = smooth((nu - LEAST_NU) / (FULL_NU - LEAST_NU));
        double loss_db = section->corners[edge.corner].loss_db;
        if (loss_db < OPAQUE_DB) {
            scratch->beside[i].gain = -pow(10.0, edge_loss_db(nu) / 20.0); /* a weak one: negative, for below */
        } else if (weight >= 1.0 && count < MAX_STATIONS) {
            image_at(section, edge.corner, edge.from, edge.to, 0.0, edge.image);
            edge.image[0] *= smooth(1.0 + nu / FLUSH_NU);
            edge.nu = nu;
            edges[count++] = edge;
        } else if (weight > 0.0) {
            *factor *= (1.0 + weight * ripple(nu)) * (1.0 + weight * ripple(nu));
        }
    }
    for (int i = 0; i < beside; i++) { /* weak edges of one solid, or of several that share edges, close the same front */
        if (!(scratch->beside[i].gain < 0.0)) continue;
        double rise = -scratch->beside[i].gain - 1.0, most_db = section->corners[scratch->beside[i].corner].loss_db;
        scratch->beside[i].gain = 2.0; /* of this front */
        for (int j = i + 1; j < beside; j++) {
            Edge *edge = scratch->beside + j;
            bool shared = false;
            for (int k = i; k < beside && edge->gain < 0.0; k++)
                shared |= scratch->beside[k].gain == 2.0 && share_solid(section, scratch->beside + k, edge);
            if (!shared) continue;
            rise += -edge->gain - 1.0;
            most_db = larger(most_db, section->corners[edge->corner].loss_db);
            edge->gain = 2.0;
            j = i; /* what shares one with it may stand before it */
        }
        for (int j = i; j < beside; j++)
            if (scratch->beside[j].gain == 2.0) scratch->beside[j].gain = 1.0;
        *factor *= smaller(1.0, 1.0 / ((1.0 + rise) * (1.0 + rise)) + pow(10.0, -most_db / 10.0));
    }
    for (int i = 1; i < count; i++) {
        Edge edge = edges[i];
        int place = i;
        for (; place > 0 && edges[place - 1].at_m > edge.at_m; place--) edges[place] = edges[place - 1];
        edges[place] = edge;
    }
    return count;
}

/* What lies opposite a corner of a string: how far off, which segments, and which corner or -1 for a face. */
static double opposite(const Section *section, const Edge *edge, double total_m, double wavelength_m, Members *segments, int *which)
{
    const Corner *corner = section->corners + edge->corner;
    double tx = edge->tangent.x, ty = edge->tangent.y, nx = edge->left ? ty : -ty, ny = edge->left ? -tx : tx;
    double nearest = -LEAST_NU / sqrt(2.0 / wavelength_m * (1.0 / edge->at_m + 1.0 / (total_m - edge->at_m)));
    bool found = false;
    Members none = {NULL, 0, -1};
    *which = -1;
    *segments = none;
    for (int number = 0; number < section->count; number++) {
        const Segment *one = section->segments + number;
        if (one->loss_db < OPAQUE_DB || section->ends[number][0] == edge->corner || section->ends[number][1] == edge->corner) continue;
        double s1 = (one->x1 - corner->x) * tx + (one->y1 - corner->y) * ty, s2 = (one->x2 - corner->x) * tx + (one->y2 - corner->y) * ty;
        if (!(smaller(s1, s2) < -TOUCH_M && larger(s1, s2) > TOUCH_M)) continue;
        double share = s1 / (s1 - s2);
        double off = (one->x1 + share * (one->x2 - one->x1) - corner->x) * nx + (one->y1 + share * (one->y2 - one->y1) - corner->y) * ny;
        if (!(TOUCH_M < off && off < nearest)) continue;
        Members single = {NULL, 1, number};
        nearest = off;
        *segments = single;
        found = true;
    }
    for (int number = 0; number < section->corner_count; number++) {
        const Corner *other = section->corners + number;
        if (number == edge->corner || other->flat || !other->arm_count || other->loss_db < OPAQUE_DB) continue;
        double off = (other->x - corner->x) * nx + (other->y - corner->y) * ny;
        double aside = fabs((other->x - corner->x) * tx + (other->y - corner->y) * ty);
        if (!(TOUCH_M < off && off < nearest) || aside > FACING * off) continue;
        bool steep = false;
        for (int i = 0; i < other->arm_count; i++) steep |= other->arms[i].dx * nx + other->arms[i].dy * ny < -STEEP - TOUCH_M;
        if (steep) continue;
        nearest = off;
        *segments = members_of(section, number);
        *which = number;
        found = true;
    }
    return found ? nearest : INFINITY;
}

int stations_of(Section *section, const Edge *edges, int edge_count, double total_m, double wavelength_m, Station *stations, Face *faces)
{
    bool used[ROOM_STATIONS] = {false};
    double limit_m[ROOM_STATIONS];
    double left_nus[ROOM_STATIONS], right_nus[ROOM_STATIONS];
    Members limit_of[ROOM_STATIONS], lefts[ROOM_STATIONS], rights[ROOM_STATIONS], none = {NULL, 0, -1};
    int count = 0;
    for (int i = 0; i < edge_count; i++) {
        int which = -1;
        limit_m[i] = INFINITY;
        limit_of[i] = none;
        if (edges[i].turn != 0.0) limit_m[i] = opposite(section, edges + i, total_m, wavelength_m, limit_of + i, &which);
        for (int j = 0; which >= 0 && j < edge_count; j++)
            if (edges[j].corner == which && edges[j].turn == 0.0) used[j] = true;
    }
    for (int i = 0; i < edge_count; i++) {
        const Edge *one = edges + i;
        if (used[i]) continue;
        used[i] = true;
        int partner = -1;
        double least = INFINITY;
        for (int j = i + 1; j < edge_count; j++) {
            const Edge *other = edges + j;
            if (used[j] || other->left == one->left || one->turn != 0.0 || other->turn != 0.0) continue;
            double gap_m = one->left ? one->off_m - other->off_m : other->off_m - one->off_m, away_m = other->at_m - one->at_m;
            if (gap_m > 0.0 && away_m <= FACING * gap_m && away_m < least) {
                partner = j;
                least = away_m;
            }
        }
        Station station = {one->at_m, one->left ? -INFINITY : one->off_m, one->left ? one->off_m : INFINITY, one->turn,
                           one->gain, {0.0, 0.0}, {0.0, 0.0}};
        station.image[!one->left] = one->image[0];
        station.image_turn[!one->left] = one->image[1];
        Members left = one->left ? one->segments : none, right = one->left ? none : one->segments;
        double left_nu = one->nu, right_nu = one->nu;
        if (partner >= 0) {
            const Edge *other = edges + partner;
            used[partner] = true;
            station.at_m = 0.5 * (one->at_m + other->at_m);
            station.image[!other->left] = other->image[0];
            station.image_turn[!other->left] = other->image[1];
            if (one->left) {
                station.low_m = other->off_m;
                right = other->segments;
                right_nu = other->nu;
            } else {
                station.high_m = other->off_m;
                left = other->segments;
                left_nu = other->nu;
            }
        }
        if (limit_m[i] < INFINITY) {
            if (one->left) {
                station.low_m = -limit_m[i];
                right = limit_of[i];
            } else {
                station.high_m = limit_m[i];
                left = limit_of[i];
            }
        }
        double gap_m = station.high_m - station.low_m;
        if (gap_m < INFINITY) {
            double half_turn = 2.0 * asin(smaller(1.0, 0.5 * fabs(one->turn)));
            if (partner >= 0) station.gain *= drawn_open(section, one->corner, edges[partner].corner, gap_m);
            station.gain *= obliquity(tan(smaller(half_turn, 1.5)));
        }
        int place = count++;
        for (; place > 0 && stations[place - 1].at_m > station.at_m; place--) {
            stations[place] = stations[place - 1];
            lefts[place] = lefts[place - 1];
            rights[place] = rights[place - 1];
            left_nus[place] = left_nus[place - 1];
            right_nus[place] = right_nus[place - 1];
        }
        stations[place] = station;
        lefts[place] = left;
        rights[place] = right;
        left_nus[place] = left_nu;
        right_nus[place] = right_nu;
    }
    for (int i = 0; i + 1 < count; i++) {
        faces[i].left = share_one(lefts[i], lefts[i + 1]) ? 1.0 : 0.0;
        faces[i].right = share_one(rights[i], rights[i + 1]) ? 1.0 : 0.0;
        if (faces[i].left != 0.0 && faces[i].right != 0.0) continue;
        faces[i].left *= smooth(1.0 + smaller(left_nus[i], left_nus[i + 1]) / FLUSH_NU);
        faces[i].right *= smooth(1.0 + smaller(right_nus[i], right_nus[i + 1]) / FLUSH_NU);
    }
    for (int i = 0; i < count; i++) {
        for (int j = i ? i - 1 : 0; j <= i && j + 1 < count; j++) {
            stations[i].image[0] *= 1.0 - faces[j].left;
            stations[i].image[1] *= 1.0 - faces[j].right;
        }
    }
    return count;
}
