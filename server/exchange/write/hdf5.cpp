// Through the library's C interface: what it opens it also closes, in the order of this file's scopes.
#include <algorithm>
#include <mutex>
#include <string>
#include <utility>
#include <vector>

#include <hdf5.h>

#include "server/exchange/write/formats.hpp"
#include "server/exchange/write/text.hpp"

namespace turnstone::exchange {

namespace {

constexpr hsize_t kChunkRows = 8192; ///< 64 KiB of doubles, and what is gathered before it is written

struct Hdf5Error {
    std::string doing;
};

template <class Value>
Value checked(Value value, const std::string& doing) {
    if (value < 0) throw Hdf5Error{doing};
    return value;
}

/// Anything of the library that has to be closed.
class Handle {
  public:
    Handle(hid_t id, herr_t (*close)(hid_t), const std::string& doing) : id_(checked(id, doing)), close_(close) {}
    Handle(Handle&& other) noexcept : id_(std::exchange(other.id_, -1)), close_(other.close_) {}
    Handle& operator=(Handle&&) = delete;
    ~Handle() {
        if (id_ >= 0) close_(id_);
    }
    [[nodiscard]] hid_t id() const noexcept { return id_; }

  private:
    hid_t id_;
    herr_t (*close_)(hid_t);
};

Handle text_type() {
    Handle type(H5Tcopy(H5T_C_S1), H5Tclose, "making a type of texts");
    checked(H5Tset_size(type.id(), H5T_VARIABLE), "making a type of texts");
    checked(H5Tset_cset(type.id(), H5T_CSET_UTF8), "making a type of texts");
    return type;
}

void put_attribute(hid_t object, const char* name, const std::string& text) {
    const Handle type = text_type();
    const Handle space(H5Screate(H5S_SCALAR), H5Sclose, name);
    const Handle attribute(H5Acreate2(object, name, type.id(), space.id(), H5P_DEFAULT, H5P_DEFAULT), H5Aclose, name);
    const char* value = text.c_str();
    checked(H5Awrite(attribute.id(), type.id(), static_cast<const void*>(&value)), name);
}

/// One column, which grows chunk by chunk.
class DataSet {
  public:
    DataSet(hid_t group, const std::string& name, hid_t stored, hid_t type)
        : name_(name), type_(type), set_(make(group, name, stored)) {}
    [[nodiscard]] hid_t id() const noexcept { return set_.id(); }
    void append(const void* values, hsize_t rows) {
        const hsize_t size = size_ + rows;
        checked(H5Dset_extent(set_.id(), &size), "extending " + name_);
        const Handle space(H5Dget_space(set_.id()), H5Sclose, name_);
        checked(H5Sselect_hyperslab(space.id(), H5S_SELECT_SET, &size_, nullptr, &rows, nullptr), name_);
        const Handle memory(H5Screate_simple(1, &rows, nullptr), H5Sclose, name_);
        checked(H5Dwrite(set_.id(), type_, memory.id(), space.id(), H5P_DEFAULT, values), "writing " + name_);
        size_ = size;
    }

  private:
    static Handle make(hid_t group, const std::string& name, hid_t stored) {
        const hsize_t none = 0, any = H5S_UNLIMITED;
        const Handle space(H5Screate_simple(1, &none, &any), H5Sclose, name);
        const Handle how(H5Pcreate(H5P_DATASET_CREATE), H5Pclose, name);
        checked(H5Pset_chunk(how.id(), 1, &kChunkRows), name);
        // Chunks are written whole and in order: a cache of one is enough.
        const Handle access(H5Pcreate(H5P_DATASET_ACCESS), H5Pclose, name);
        checked(H5Pset_chunk_cache(access.id(), 1, kChunkRows * sizeof(double), 1.0), name);
        return {H5Dcreate2(group, name.c_str(), stored, space.id(), H5P_DEFAULT, how.id(), access.id()), H5Dclose,
                "making " + name};
    }
    std::string name_;
    hid_t type_;
    Handle set_;
    hsize_t size_ = 0;
};

/// The columns of one table: rows are gathered, and written when there are enough.
class TableGroup {
  public:
    TableGroup(hid_t file, const ChosenTable& table, std::int64_t t_start_ns)
        : group_(make(file, table)), texts_of_(text_type()),
          times_(group_.id(), "t_ns", H5T_STD_I64LE, H5T_NATIVE_INT64), numbers_(table.number_count),
          texts_(table.text_count()) {
        put_attribute(group_.id(), "title", table.title);
        put_attribute(times_.id(), "units", "ns");
        put_attribute(times_.id(), "title", "Station time, UTC from 1970-01-01");
        put_attribute(times_.id(), "start", std::to_string(t_start_ns));
        for (std::size_t c = 0; c < table.columns.size(); ++c) {
            const Column& column = table.columns[c];
            const bool is_text = c >= table.number_count;
            std::string name = column.name == "t_ns" ? "t_ns_" : column.name;
            std::ranges::replace(name, '/', '.'); // of one time base; here it would be a group
            sets_.emplace_back(group_.id(), name, is_text ? texts_of_.id() : H5T_IEEE_F64LE,
                               is_text ? texts_of_.id() : H5T_NATIVE_DOUBLE);
            put_attribute(sets_.back().id(), "title", column.title);
            if (is_text) continue;
            put_attribute(sets_.back().id(), "units", column.unit);
            put_attribute(sets_.back().id(), "missing", "NaN");
        }
    }

    void add(const StreamedRow& row) {
        t_ns_.push_back(row.t_ns);
        for (std::size_t c = 0; c < numbers_.size(); ++c) numbers_[c].push_back(row.numbers[c]);
        for (std::size_t c = 0; c < texts_.size(); ++c) texts_[c].push_back(row.texts[c]);
        if (t_ns_.size() == kChunkRows) flush();
    }

    void flush() {
        const hsize_t rows = t_ns_.size();
        if (rows == 0) return;
        times_.append(t_ns_.data(), rows);
        for (std::size_t c = 0; c < numbers_.size(); ++c) {
            sets_[c].append(numbers_[c].data(), rows);
            numbers_[c].clear();
        }
        for (std::size_t c = 0; c < texts_.size(); ++c) {
            std::vector<const char*> pointers;
            for (const std::string& text : texts_[c]) pointers.push_back(text.c_str());
            sets_[numbers_.size() + c].append(static_cast<const void*>(pointers.data()), rows);
            texts_[c].clear();
        }
        t_ns_.clear();
    }

  private:
    static Handle make(hid_t file, const ChosenTable& table) {
        const Handle how(H5Pcreate(H5P_LINK_CREATE), H5Pclose, table.name);
        checked(H5Pset_create_intermediate_group(how.id(), 1), table.name);
        // "sanderling/imu" may be there already, as what "sanderling/imu/raw" is in.
        if (exists(file, table.name)) return {H5Gopen2(file, table.name.c_str(), H5P_DEFAULT), H5Gclose, table.name};
        return {H5Gcreate2(file, table.name.c_str(), how.id(), H5P_DEFAULT, H5P_DEFAULT), H5Gclose, table.name};
    }
    static bool exists(hid_t file, const std::string& name) {
        for (std::size_t slash = name.find('/');; slash = name.find('/', slash + 1)) {
            if (H5Lexists(file, name.substr(0, slash).c_str(), H5P_DEFAULT) <= 0) return false;
            if (slash == std::string::npos) return true;
        }
    }

    Handle group_, texts_of_;
    DataSet times_;
    std::vector<DataSet> sets_;
    std::vector<std::int64_t> t_ns_;
    std::vector<std::vector<double>> numbers_;
    std::vector<std::vector<std::string>> texts_;
};

/// False: it was stopped.
bool write_file(const Subject& subject, Rows& rows, const std::filesystem::path& path, Steps& steps) {
    const Handle file(H5Fcreate(path.c_str(), H5F_ACC_TRUNC, H5P_DEFAULT, H5P_DEFAULT), H5Fclose, "making the file");
    put_attribute(file.id(), "recording", subject.info.id);
    put_attribute(file.id(), "start_utc", utc_text(subject.info.utc_start_ns));
    const auto& tables = rows.tables();
    for (std::size_t t = 0; t < tables.size(); ++t) {
        TableGroup group(file.id(), tables[t], subject.info.t_start_ns);
        steps.begin_part(t, tables.size());
        rows.start(t);
        while (rows.next()) {
            group.add(rows.row());
            if (!steps.go_on(rows.row().t_ns)) return false;
        }
        group.flush();
    }
    checked(H5Fflush(file.id(), H5F_SCOPE_GLOBAL), "writing what is left");
    return true;
}

} // namespace

Result<void> write_hdf5(const Subject& subject, Rows& rows, const std::filesystem::path& path, Steps& steps) {
    static std::mutex one_at_a_time;
    const std::lock_guard lock(one_at_a_time);
    H5Eset_auto2(H5E_DEFAULT, nullptr, nullptr); // the sentence below says it
    try {
        if (!write_file(subject, rows, path, steps)) return debrief::stopped();
    } catch (const Hdf5Error& failure) {
        return fail(path.string() + " cannot be written: HDF5 failed at " + failure.doing +
                    "; check that there is room on the disk");
    }
    if (!subject.reader.damage().empty())
        return fail(subject.info.path.string() + ": is damaged: " + subject.reader.damage());
    return {};
}

} // namespace turnstone::exchange
