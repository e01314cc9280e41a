#include "protocol/decode/packet_walk.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>
#include <utility>

#include "protocol/decode/decode_numbers.hpp"
#include "protocol/decode/text.hpp"
#include "protocol/packet/space_packet.hpp"
#include "shared/constants.hpp"

namespace turnstone {
namespace {

constexpr std::size_t kSlots = 256;
constexpr std::int64_t kNoInteger = std::numeric_limits<std::int64_t>::min();
constexpr std::size_t kNoPlace = static_cast<std::size_t>(-1);

struct NumberItem {
    NumberStep step; ///< from the segment's first bit
    const Field* field;
    std::size_t place;
    std::size_t word = kNoPlace; ///< among the row's texts
};

struct TextItem {
    TextStep step;
    std::size_t place; ///< among the row's texts
};

struct GroupPlan;

struct SegmentPlan {
    std::uint32_t bits = 0;
    std::vector<NumberItem> numbers;
    std::vector<TextItem> texts;
    Segment::Then then = Segment::Then::nothing;
    TextItem last{};       ///< when a field comes next
    std::size_t group = 0; ///< when a group comes next
};

struct LayoutPlan {
    std::vector<SegmentPlan> segments;
    std::vector<GroupPlan> groups;
};

struct GroupPlan {
    const Group* group;
    LayoutPlan layout;
};

/// Places of the next field's channels, in the order of the table.
class Places {
  public:
    explicit Places(const ChannelTable& table) : table_(&table) {}
    std::size_t next() {
        const Channel& channel = table_->channels.at(next_++);
        return channel.is_text() ? channel.place - table_->number_count : channel.place;
    }

  private:
    const ChannelTable* table_;
    std::size_t next_ = 0;
};

LayoutPlan make_plan(const Dictionary& dictionary, const Layout& layout, Places places) {
    LayoutPlan plan;
    for (const Segment& segment : layout.segments) plan.segments.emplace_back().bits = segment.bits;
    for (std::size_t i = 0; i < layout.segments.size(); ++i) {
        plan.segments[i].then = layout.segments[i].then;
        plan.segments[i].group = layout.segments[i].index;
    }
    for (const Field& field : layout.fields) {
        SegmentPlan& segment = plan.segments.at(field.segment);
        for (unsigned k = 0; k < field.count; ++k) {
            if (field.is_text()) {
                const TextStep step{(field.bit_offset + k * field.bit_width) / 8, field.bit_width / 8, &field};
                (field.extent.is_fixed() ? segment.texts.emplace_back() : segment.last) = {step, places.next()};
                continue;
            }
            NumberItem item{number_step(field, field.bit_offset, k), &field, places.next()};
            if (!field.words.empty()) item.word = places.next();
            segment.numbers.push_back(item);
        }
    }
    for (const Group& group : layout.groups)
        plan.groups.push_back({&group, make_plan(dictionary, group.layout, Places(dictionary.tables.at(group.table)))});
    return plan;
}

std::uint64_t to_byte(std::uint64_t bit) {
    return (bit + 7) / 8 * 8;
}

} // namespace

struct PacketWalk::Plan {
    const Dictionary* dictionary;
    const Packet* packet;
    std::vector<std::pair<NumberStep, Slot>> header_slots;
    LayoutPlan header;
    LayoutPlan body;
};

namespace {

/// One packet being read.
class Walk {
  public:
    Walk(const Dictionary& dictionary, std::span<const std::byte> packet, WalkedRows& out)
        : dictionary_(dictionary), packet_(packet), end_bit_(8 * std::uint64_t{packet.size()}), out_(out) {
        slots_.fill(kNoInteger);
        out.rows.clear();
        out.numbers.clear();
        out.texts.clear();
        out.characters.clear();
    }

    void set_slot(Slot slot, std::optional<std::int64_t> value) {
        slots_.at(static_cast<std::size_t>(slot)) = value.value_or(kNoInteger);
    }

    /// Index of the new row.
    std::optional<std::size_t> add_row(std::size_t table, double time_offset_ms) {
        const ChannelTable& about = dictionary_.tables[table];
        if (out_.rows.size() >= kWalkedRowsMax || out_.numbers.size() + about.number_count > kWalkedNumbersMax ||
            out_.texts.size() + about.text_count > kWalkedNumbersMax)
            return std::nullopt;
        out_.rows.push_back({table, time_offset_ms, out_.numbers.size(), out_.texts.size(), 0});
        out_.numbers.resize(out_.numbers.size() + about.number_count, kNaN);
        out_.texts.resize(out_.texts.size() + about.text_count);
        return out_.rows.size() - 1;
    }

    /// Reads the layout from bit_; its fields go to `row`. False: it does not fit.
    bool read(const LayoutPlan& plan, std::size_t row) {
        for (std::size_t i = 0; i < plan.segments.size(); ++i) {
            const SegmentPlan& segment = plan.segments[i];
            if (bit_ + segment.bits > end_bit_) return false;
            for (const NumberItem& item : segment.numbers)
                if (!read_number(item, row)) return false;
            for (const TextItem& item : segment.texts)
                if (!write(item, packet_.subspan(bit_ / 8 + item.step.byte, item.step.size), row)) return false;
            bit_ += segment.bits;
            if (segment.then == Segment::Then::field && !read_sized_field(segment.last, row)) return false;
            if (segment.then == Segment::Then::group && !read_group(plan.groups[segment.group])) return false;
            if (i + 1 < plan.segments.size()) bit_ = std::min(to_byte(bit_), end_bit_);
        }
        return true;
    }

    void go_to(std::uint64_t bit) { bit_ = bit; }
    [[nodiscard]] bool is_at_end() const { return to_byte(bit_) == end_bit_; }

  private:
    bool read_number(const NumberItem& item, std::size_t row) {
        NumberStep step = item.step;
        const std::uint64_t bit = bit_ + 8 * std::uint64_t{step.byte} + step.skip;
        step.byte = 0;
        step.skip = static_cast<unsigned char>(bit % 8);
        const std::byte* const at = packet_.data() + bit / 8;
        const Field& field = *item.field;
        const bool is_asked_for = field.slot != kNoSlot || !field.words.empty();
        const auto integer = is_asked_for ? raw_integer(step, at) : std::nullopt;
        if (field.slot != kNoSlot) set_slot(field.slot, integer);
        if (item.word != kNoPlace && integer) {
            const std::string* const word = field.words.find(*integer);
            if (word != nullptr && !add_text(*word, row, item.word)) return false;
        }
        double value = raw_number(step, at);
        if (field.calibration_slot != kNoSlot) {
            const Calibration* const chosen = field.calibrations.find(slot(field.calibration_slot));
            value = chosen == nullptr ? kNaN : calibrated(*chosen, value);
        } else {
            value = calibrated(*step.calibration, value);
        }
        WalkedRows::Row& about = out_.rows[row];
        if (item.place < 64 && (value < step.least || value > step.greatest)) about.out_of_range |= 1ULL << item.place;
        out_.numbers[about.numbers_at + item.place] = std::isfinite(value) ? value : kNaN;
        return true;
    }

    bool add_text(std::string_view text, std::size_t row, std::size_t place) {
        if (out_.characters.size() + text.size() > kWalkedCharactersMax) return false;
        out_.texts[out_.rows[row].texts_at + place] = {out_.characters.size(), text.size()};
        out_.characters.insert(out_.characters.end(), text.begin(), text.end());
        return true;
    }

    bool write(const TextItem& item, std::span<const std::byte> bytes, std::size_t row) {
        const std::size_t at = out_.characters.size();
        if (at + 3 * bytes.size() > kWalkedCharactersMax) return false;
        out_.characters.resize(at + 3 * bytes.size());
        const std::size_t size = write_text(*item.step.field, bytes, out_.characters.data() + at);
        out_.characters.resize(at + size);
        out_.texts[out_.rows[row].texts_at + item.place] = {at, size};
        return true;
    }

    /// How many, as the packet tells; empty: more than there are bits, or less than none.
    [[nodiscard]] std::optional<std::uint64_t> told(const Extent& extent) const {
        const std::int64_t value = slot(extent.slot);
        if (value < 0 || value > static_cast<std::int64_t>(end_bit_)) return std::nullopt;
        const std::int64_t count = value * extent.times + extent.plus;
        if (count < 0 || count > static_cast<std::int64_t>(end_bit_)) return std::nullopt;
        return static_cast<std::uint64_t>(count);
    }

    bool read_sized_field(const TextItem& item, std::size_t row) {
        const Field& field = *item.step.field;
        const auto rest = packet_.subspan(bit_ / 8);
        std::size_t size = rest.size();
        std::size_t content = 0;
        if (field.extent.by == Extent::By::terminator) {
            const auto found = find_terminator(field, rest);
            if (!found) return false;
            content = *found;
            size = content + field.terminator.size();
        } else {
            if (field.extent.by == Extent::By::field) {
                const auto count = told(field.extent);
                if (!count || *count > rest.size()) return false;
                size = *count;
            } else {
                if (field.extent.bits_after / 8 > rest.size()) return false;
                size = rest.size() - field.extent.bits_after / 8;
            }
            content = size;
        }
        if (!write(item, rest.first(content), row)) return false;
        bit_ += 8 * std::uint64_t{size};
        return true;
    }

    bool read_group(const GroupPlan& plan) {
        const Group& group = *plan.group;
        for (const FieldCondition& condition : group.when) {
            const std::int64_t value = slot(condition.slot);
            if (std::none_of(condition.ranges.begin(), condition.ranges.end(),
                             [value](const RawRange& range) { return range.holds(value); }))
                return true;
        }
        if (group.count.by == Extent::By::to_end) return read_to_end(plan);
        std::uint64_t count = group.count.number;
        if (!group.count.is_fixed()) {
            const auto number = told(group.count);
            if (!number) return false;
            count = *number;
        }
        for (std::uint64_t k = 0; k < count; ++k)
            if (!read_once(plan, k)) return false;
        return true;
    }

    /// Fewer than eight bits that are left over fill the last byte.
    bool read_to_end(const GroupPlan& plan) {
        if (plan.group->count.bits_after > end_bit_) return false;
        const std::uint64_t limit = end_bit_ - plan.group->count.bits_after;
        for (std::uint64_t k = 0; bit_ + std::max(plan.group->layout.bits_min, 1U) <= limit; ++k)
            if (!read_once(plan, k)) return false;
        return bit_ <= limit && limit - bit_ < 8;
    }

    bool read_once(const GroupPlan& plan, std::uint64_t k) {
        const Group& group = *plan.group;
        const auto row = add_row(group.table, group.first_offset_ms + static_cast<double>(k) * group.period_ms);
        if (!row || !read(plan.layout, *row)) return false;
        if (group.is_padded) bit_ = to_byte(bit_);
        return bit_ <= end_bit_;
    }

    [[nodiscard]] std::int64_t slot(Slot which) const { return slots_[static_cast<std::size_t>(which)]; }

    const Dictionary& dictionary_;
    std::span<const std::byte> packet_;
    std::uint64_t end_bit_;
    std::uint64_t bit_ = 0;
    WalkedRows& out_;
    std::array<std::int64_t, kSlots> slots_{};
};

} // namespace

PacketWalk::PacketWalk(const Dictionary& dictionary, std::size_t packet) {
    const Packet& about = dictionary.packets.at(packet);
    Plan plan{&dictionary, &about, {}, {}, {}};
    for (const auto& [at, slot] : about.header_slots) plan.header_slots.emplace_back(number_step(at), slot);
    if (about.has_fields()) {
        // The secondary header's channels come first in the packet's table.
        std::size_t header_channels = 0;
        for (const Field& field : about.header.fields) header_channels += field.count * (field.words.empty() ? 1 : 2);
        Places places(dictionary.tables.at(about.table));
        plan.header = make_plan(dictionary, about.header, places);
        for (std::size_t i = 0; i < header_channels; ++i) (void)places.next();
        plan.body = make_plan(dictionary, about.body, places);
    } else {
        plan.body = make_plan(dictionary, about.body, Places(dictionary.tables.at(0)));
    }
    plan_ = std::make_unique<const Plan>(std::move(plan));
}

PacketWalk::PacketWalk(PacketWalk&&) noexcept = default;
PacketWalk::~PacketWalk() = default;

bool PacketWalk::read(std::span<const std::byte> packet, WalkedRows& out) const {
    const Packet& about = *plan_->packet;
    Walk walk(*plan_->dictionary, packet, out);
    for (const auto& [step, slot] : plan_->header_slots) walk.set_slot(slot, raw_integer(step, packet.data()));
    std::size_t row = 0;
    if (about.has_fields()) {
        const auto added = walk.add_row(about.table, 0.0);
        if (!added) return false;
        row = *added;
    }
    walk.go_to(8 * kPrimaryHeaderBytes);
    if (!walk.read(plan_->header, row)) return false;
    walk.go_to(8 * (kPrimaryHeaderBytes + std::uint64_t{about.header_bytes}));
    return walk.read(plan_->body, row) && (about.may_have_more || walk.is_at_end());
}

} // namespace turnstone
