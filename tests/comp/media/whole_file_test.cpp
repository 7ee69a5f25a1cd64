#include "comp/media/whole_file.h"

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>

#include "samples.h"

namespace pw::whole_file_test {

std::string problem(const auto& result) { return result ? "" : to_string(result.error()[0]); }

size_t files_in(const std::string& folder) {
  size_t n = 0;
  for ([[maybe_unused]] const auto& e : std::filesystem::directory_iterator(folder)) ++n;
  return n;
}

TEST(ReadWholeFile, GivesTheBytes) {
  const std::string dir = samples::folder();
  for (size_t n : {1, 3, 4096, 100001}) {
    const auto bytes = samples::random_values<unsigned char>(n, static_cast<unsigned>(n));
    samples::write_bytes(dir + "a", bytes);
    const auto read = read_whole_file(dir + "a");
    ASSERT_TRUE(read);
    EXPECT_TRUE(std::equal(bytes.begin(), bytes.end(), read->bytes().begin(), read->bytes().end()));
  }
}

TEST(ReadWholeFile, SaysWhatIsWrong) {
  const std::string dir = samples::folder();
  EXPECT_EQ(problem(read_whole_file(dir + "no.png")), dir + "no.png: there is no such file; check the name");
  EXPECT_EQ(problem(read_whole_file(dir + "no/a.png")),
            dir + "no/a.png: there is no folder " + dir + "no; check the path");
  EXPECT_EQ(problem(read_whole_file(dir)), dir + ": this is a folder; name a file in it");
  EXPECT_EQ(problem(read_whole_file("/dev/zero")), "/dev/zero: this is not a regular file; name a picture file");
  samples::write_text(dir + "empty.exr", "");
  EXPECT_EQ(problem(read_whole_file(dir + "empty.exr")), dir + "empty.exr: the file is empty; copy or render it again");
  ASSERT_EQ(::truncate((dir + "empty.exr").c_str(), int64_t{5} << 30), 0);  // Sparse: no disk is used.
  EXPECT_EQ(problem(read_whole_file(dir + "empty.exr")),
            dir + "empty.exr: the file has 5368709120 bytes; files up to 4 GiB are read");
}

TEST(WriteWholeFile, ReplacesAndLeavesNothingBeside) {
  const std::string dir = samples::folder();
  for (size_t n : {100000, 10}) {
    const auto bytes = samples::random_values<unsigned char>(n, 5);
    ASSERT_TRUE(write_whole_file(dir + "a.bin", bytes));
    EXPECT_EQ(samples::bytes_of(dir + "a.bin"), bytes);
    EXPECT_EQ(files_in(dir), 1u);
  }
}

TEST(WriteWholeFile, SaysWhatIsWrong) {
  const std::string dir = samples::folder();
  const std::vector<unsigned char> bytes(10);
  const std::string folder_missing = dir + "no/a.png: there is no folder " + dir + "no; create it or choose another";
  EXPECT_EQ(problem(write_whole_file(dir + "no/a.png", bytes)), folder_missing);
  EXPECT_EQ(problem(check_writable(dir + "no/a.png")), folder_missing);
  std::filesystem::create_directory(dir + "a.png");
  EXPECT_EQ(problem(write_whole_file(dir + "a.png", bytes)), dir + "a.png: this is a folder; choose another name");
  EXPECT_EQ(problem(check_writable(dir + "a.png")), dir + "a.png: this is a folder; choose another name");
  samples::write_text(dir + "file", "x");
  EXPECT_EQ(problem(write_whole_file(dir + "file/a.png", bytes)),
            dir + "file/a.png: there is no folder " + dir + "file; create it or choose another");
  EXPECT_TRUE(check_writable(dir + "b.png"));
  EXPECT_EQ(files_in(dir), 2u);
}

TEST(WriteWholeFile, SaysThatAFolderIsClosed) {
  // Permissions do not hold the superuser; /sys takes files from nobody.
  std::string dir = samples::folder() + "closed";
  std::filesystem::create_directory(dir);
  if (::geteuid() == 0)
    dir = "/sys";
  else
    ::chmod(dir.c_str(), 0555);
  const auto r = write_whole_file(dir + "/a.png", std::vector<unsigned char>(10));
  const std::string read_only = dir + "/a.png: the folder " + dir + " is on a read-only file system; choose another";
  const std::string closed =
      dir + "/a.png: the folder " + dir + " may not be written to; change its permissions or choose another";
  EXPECT_TRUE(problem(r) == closed || problem(r) == read_only) << problem(r);
}

TEST(WriteWholeFile, LeavesTheOldFileWhenTheNewOneIsTooLarge) {
  const std::string dir = samples::folder();
  const std::vector<unsigned char> old(100, 1), large(1000000, 2);
  ASSERT_TRUE(write_whole_file(dir + "a.png", old));
  rlimit before{};
  ::getrlimit(RLIMIT_FSIZE, &before);
  const auto signal = std::signal(SIGXFSZ, SIG_IGN);
  const rlimit tight{50000, before.rlim_max};
  ::setrlimit(RLIMIT_FSIZE, &tight);
  const auto r = write_whole_file(dir + "a.png", large);
  ::setrlimit(RLIMIT_FSIZE, &before);
  std::signal(SIGXFSZ, signal);
  EXPECT_EQ(problem(r),
            dir + "a.png: the file is larger than the system lets a file grow; raise the limit (ulimit -f)");
  EXPECT_EQ(samples::bytes_of(dir + "a.png"), old);
  EXPECT_EQ(files_in(dir), 1u);
}

TEST(WriteWholeFile, LeavesTheOldFileWhenTheDiskIsFull) {
  const std::string dir = samples::folder() + "small";
  std::filesystem::create_directory(dir);
  if (::mount("none", dir.c_str(), "tmpfs", 0, "size=64k") != 0) GTEST_SKIP() << "no file system may be mounted here";
  const std::vector<unsigned char> old(100, 1), large(1000000, 2);
  const bool first = write_whole_file(dir + "/a.png", old).has_value();
  const auto r = write_whole_file(dir + "/a.png", large);
  const auto after = samples::bytes_of(dir + "/a.png");
  const size_t left = files_in(dir);
  ::umount(dir.c_str());
  EXPECT_TRUE(first);
  EXPECT_EQ(problem(r), dir + "/a.png: there is no room left to write the file; free some disk space and run again");
  EXPECT_EQ(after, old);
  EXPECT_EQ(left, 1u);
}

TEST(Leftovers, OfTheDeadAndTheForgottenGo) {
  const std::string dir = samples::folder();
  char machine[256] = "";
  ASSERT_EQ(gethostname(machine, sizeof machine - 1), 0);
  const pid_t dead = fork();
  if (dead == 0) _exit(0);
  waitpid(dead, nullptr, 0);
  const auto part = [&](pid_t process, const std::string& on) {
    return fmt::format("{}.a.0001.mov.{}.{}.pw.part", dir, process, on);
  };
  const std::string mine = temporary_name(dir + "a.0001.mov"), of_dead = part(dead, machine);
  const std::string of_living = part(getppid(), machine), elsewhere = part(dead, "other.machine");
  const std::string forgotten = part(dead, "third"), stranger = dir + ".quay.7.mkv.part", plain = dir + "b.mov";
  EXPECT_EQ(mine, part(getpid(), machine));
  for (const std::string& f : {mine, of_dead, of_living, elsewhere, forgotten, stranger, plain}) {
    samples::write_text(f, "half");
    if (f == forgotten || f == stranger || f == plain)
      std::filesystem::last_write_time(f, std::filesystem::file_time_type::clock::now() - std::chrono::hours(24 * 8));
  }
  EXPECT_EQ(remove_leftovers(dir), 2);
  for (const std::string& f : {mine, of_living, elsewhere, stranger, plain})
    EXPECT_TRUE(std::filesystem::exists(f)) << f;
  EXPECT_EQ(remove_leftovers(dir + "nowhere"), 0);
}

}  // namespace pw::whole_file_test
