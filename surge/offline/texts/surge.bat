@echo off
rem Starts surge @VERSION@. The first time it is installed from the folder "wheels", without internet.
rem Double click: the page in the browser. In a command prompt: surge.bat check case.toml
setlocal DisableDelayedExpansion
set "here=%~dp0"
set "environment=%here%environment"
if exist "%environment%\installed-@VERSION@.txt" goto start

set "python=py -@PYTHON@"
%python% -c "import sys" >nul 2>nul
if not errorlevel 1 goto version
set "python=python"
%python% -c "import sys" >nul 2>nul
if errorlevel 1 goto nopython

:version
%python% -c "import struct, sys; sys.exit(sys.version_info[:2] != (@MAJOR@) or struct.calcsize('P') != 8)"
if errorlevel 1 goto nopython

echo Installing surge, once; it takes a minute or two ...
%python% -m venv --clear "%environment%"
if errorlevel 1 goto nofolder
"%environment%\Scripts\python.exe" -m pip --isolated install --quiet --disable-pip-version-check --no-index --find-links "%here%wheels" "@NAME@"
if errorlevel 1 goto failed
echo surge @VERSION@ > "%environment%\installed-@VERSION@.txt"

:start
if not "%~1"=="" goto command
echo The page opens in the browser. Close this window to end it.
"%environment%\Scripts\python.exe" -m surge page
if errorlevel 1 goto ended
exit /b 0

:command
"%environment%\Scripts\python.exe" -m surge %*
exit /b %errorlevel%

:nopython
echo Python @PYTHON@ (64 bit) is not there.
echo Install it from python-@PYTHON@.x-amd64.exe, which needs no internet. READ-ME-FIRST.txt says where it comes from.
pause
exit /b 1

:nofolder
echo The folder "environment" cannot be made here.
echo Copy the whole folder to the disk of this computer, where you may write, and start it there.
pause
exit /b 1

:failed
echo The installation failed, see above. Copy the whole folder once more, and try again.
pause
exit /b 1

:ended
pause
exit /b 1
